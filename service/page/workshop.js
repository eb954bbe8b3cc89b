// The workshop: every part adds itself to the bench.

import { begin } from "./shop-bench.js";
import "./shop-accept.js";
import "./shop-budget.js";
import "./shop-calibrate.js";
import "./shop-moves.js";
import "./shop-sensors.js";
import "./shop-sheet.js";
import "./shop-zeros.js";

begin();
