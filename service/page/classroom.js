// The classroom page: its parts put together.

import { begin } from "./desk.js";
import "./exercise.js";
import "./lessons.js";

begin();
