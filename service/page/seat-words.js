// What the page at the seat says, in one place. Sentences about numbers come from the service; these are the rest.

const clean = (text) => text.replace(/[.\s]+$/, "");
const sentence = (text) => `${clean(text)}.`;
const whole = (amount) => amount.replaceAll(" ", "\u00a0"); // not broken at a line's end
const unitOf = (units) => (units === "ftin" ? "" : ` ${units}`); // feet and inches bring their own marks
const POINTS = {
  left: "left corner", centre: "edge centre", right: "right corner", tooth_left: "left tooth", tooth_centre: "middle tooth", tooth_right: "right tooth",
};
/** "boom: none; stick: none; idler: late" as "boom, stick: none; idler: late". */
const listed = (founds) => {
  const names = new Map();
  for (const found of founds) {
    const colon = found.indexOf(": ");
    const [name, rest] = colon < 0 ? ["", found] : [found.slice(0, colon), found.slice(colon + 2)];
    if (!names.has(rest)) names.set(rest, []);
    if (name !== "") names.get(rest).push(name);
  }
  return [...names].map(([rest, some]) => (some.length === 0 ? rest : `${some.join(", ")}: ${rest}`)).join("; ");
};
const time = (date) => date.toLocaleTimeString("en-GB");

export const WORDS = {
  word: { cut: "CUT", fill: "FILL", "on grade": "ON GRADE" },
  elevation: "ELEVATION",
  noNumber: "NO NUMBER",
  points: { left: "left corner", centre: "centre", right: "right corner" },
  /** A point of a line of the bucket. */
  point: (line, point) => POINTS[line === "teeth" ? `tooth_${point}` : point],
  /** What may be long, the target's name, comes last. */
  sub: (unit, read, target, point) => {
    const within = read.within === null ? "how sure is not known" : `within ${whole(read.within.shown)}`;
    const side = !/[1-9]/.test(read.shown) ? "at" : read.above > 0 ? "above" : "below";
    return `${unit} ${point}, ${within}${read.above === null ? "" : `; ${side} ${target}`}`.trimStart();
  },
  reason: ({ found, expected, advice }) => `${sentence(found)} Expected: ${sentence(expected)} ${advice ? `${advice[0].toUpperCase()}${sentence(advice.slice(1))}` : ""}`.trim(),
  /** Reasons as sentences; those that expect and advise the same stand in one, names of which the same is told in one list. */
  together: (all) => {
    const alike = new Map();
    for (const each of all) {
      const key = JSON.stringify([each.expected, each.advice]);
      if (!alike.has(key)) alike.set(key, []);
      alike.get(key).push(each);
    }
    return [...alike.values()].map((some) => WORDS.reason({ ...some[0], found: listed(some.map((each) => clean(each.found))) }));
  },
  noReason: "This line has no cut or fill here. Choose another line of the depth sheet, or none for the elevation.",
  fresh: ({ age_s: age, oldest, quiet, readout }) => {
    const warned = readout === null ? 0 : readout.warnings.length;
    const old = age === null ? "No reading yet" : `Readings ${age.toFixed(1)} s old`;
    const some = quiet.length > 2 ? `${quiet[0]} and ${quiet.length - 1} more` : quiet.join(", "); // all of them stand in the reason
    return `${old}${oldest === null ? "" : `, oldest: ${oldest}`}${warned === 0 ? "" : `; ${warned} ${warned === 1 ? "warning" : "warnings"} below`}`
      + `${quiet.length === 0 ? "" : `; quiet: ${some}`}`;
  },
  blank: {
    waiting: "Waiting for the first reading.",
    away: "This page was out of sight: waiting for a fresh reading.",
    silent: "Nothing has come from the service for 1.5 s.",
    old: "The oldest reading is past its age limit.",
    broken: "This page could not show what came. Load it anew.",
    late: "Readouts reach this page late: their readings are past the age limit here.",
  },
  lost: (since) => `No connection to the service since ${time(since)}. This page tries again by itself.`,
  after: (seq) => `Waiting for the readout after entry ${seq}.`,
  down: "The service does not answer. This page tries again by itself.", itself: "This page tries again by itself.",
  again: (since, now) => `The connection was lost at ${time(since)} and is there again since ${time(now)}.`,
  noAdvice: "None: without a target, or without a number, nothing is advised.",
  noTrust: "Not known without a number.",
  nothing: "Nothing: there is no number.",
  noWarning: "None.",
  trust: (told, middle) => (told === null ? ["Not known here."] : [
    `Within ${told.within.shown} either way, ${told.coverage_percent} times in 100 (${told.of === "cut_fill" ? "cut or fill" : "elevation"} of the ${middle}).`,
    told.largest === null ? "" : `Largest part: ${sentence(told.largest)}`,
    told.would_help === null ? "Nothing known would help much." : `What would help: ${sentence(told.would_help)}`,
    told.assumed === 0 ? "" : `${told.assumed} uncertainties are taken as usual, as nobody gave them.`,
  ].filter((each) => each !== "")),
  entry: (seq, row) => (row === undefined ? `entry ${seq}` : `${row.what}${row.point === "" ? "" : ` ${row.point}`} (entry ${seq})`
    + `${row.what !== "touch" || row.edge_point === null ? "" : `, ${POINTS[row.edge_point]}`}`),
  noStrike: "No strike out of the sensors since the service began.",
  strike: ({ verdict, seq, at, because }) => `Last strike, ${time(new Date(at))}: ${verdict}${seq === null ? "" : ` (entry ${seq})`}`
    + `${because.length === 0 ? "." : ` because: ${WORDS.together(because).join(" ")}`}`,
  slope: (readout) => {
    const plus = (value) => `${value > 0 ? "+" : ""}${value.toFixed(1)} %`;
    const within = readout.cross_slope_within_percent === null ? "" : ` within ${readout.cross_slope_within_percent.toFixed(1)} %`;
    const wanted = readout.target_cross_slope_percent === null ? "" : `, wanted ${plus(readout.target_cross_slope_percent)}`;
    const square = readout.past_square ? " The bucket is turned past square: left and right are its own." : "";
    return `Slope ${plus(readout.cross_slope_percent)}${within}${wanted}; positive: right corner higher. Seen from the seat, heights drawn larger.${square}`;
  },
  staff: "Levelling staff in the round field of a level. The hair stands at the height of the edge; the flag marks the target.",
  staffBlank: "Round field of a level, empty: no number.",
  longBlank: "Long section, empty: no number.",
  crossBlank: "Cross-section, empty: no number.",
  long: (readout, point) => `Long section: ${WORDS.point(readout.line, point)} at ${readout.points[point].elevation?.shown ?? "no elevation"}, `
    + `floor ${readout.floor_angle_deg.toFixed(1)} degrees${readout.points[point].target_elevation === null ? "" : `, target at ${readout.points[point].target_elevation.shown}`}.`,
  away: (up, shown) => [up ? "target up" : "target down", shown],
  corner: ({ word, amount }) => `${WORDS.word[word]} ${whole(amount.shown)}`,
  targetLine: (shown) => `target ${shown}`,
  adviceFor: (point) => `Of the ${point}, to the target:`,
  adviceAsked: "Being asked for this point.",
  machineSide: "machine on this side",
  leftSide: "left", rightSide: "right",
  noTarget: ["Elevation", "no target"],
  target: (each) => [each.name, `${whole(each.depth_below.shown)} below ${each.benchmark}, \u00b1${whole(each.tolerance.shown)}`
    + `${each.along_percent === 0 ? "" : `, ${whole(`${each.along_percent} %`)} along`}${each.across_percent === 0 ? "" : `, ${whole(`${each.across_percent} %`)} across`}`
    + `${each.station_known ? "" : ", station not known here"}`],
  targetGone: (name) => `"${name}" is no longer on the depth sheet: choose another line.`,
  teethGone: "This bucket has no tooth tips on record: the cutting edge is read.",
  lines: { edge: "Cutting edge", teeth: "Tooth tips" },

  before: [
    "Advisory only, no safety function: nothing here may drive a valve, an interlock or an exclusion zone.",
    "Eyes on the bucket. No typing and no reading this screen while anything moves.",
    "Nobody in the swing radius, nobody under a load or a raised link, nobody in a hole that is not protected.",
    "Bucket on the ground, hydraulics locked, hands off, eye contact before anybody comes near to check or measure.",
    "Utilities called in and marked; dug by hand in the tolerance zone; overhead lines far enough away.",
    "Digging below or beside a slab or footing can undermine it: an engineer decides first.",
    "Do not look into the laser beam.",
    "Check with a rod now, after any knock, and before concrete.",
  ],
  understood: "Understood: show the readout",
  cautions: "Advisory only, not a safety function. Eyes on the bucket, no typing while anything moves. Cave-ins kill: spoil and machine "
    + "back from the edge, a way out. Local codes, the engineer of record and the competent person decide.",
  rod: { start: "Rod check due: start of the shift.", knock: "Rod check due: something was knocked.", concrete: "Rod check due: before concrete." },
  rodNow: "Record a rod check", rodDone: "The rod check is on paper",
  knocked: "Something was knocked", concrete: "Concrete comes next",
  rodKept: "Rod check reminder",

  look: {
    role: (who) => `${who.name} looks only: to record needs the role of operator. Ask an administrator.`,
    machine: (who, job) => `${who.name} may record, but not for ${job.machine.id}: ask an administrator for that machine.`,
  },
  elsewhere: (seat) => `${seat} sits at the machine. What you change of targets waits for them; take the seat if it is you at the levers.`,
  noJob: "No job is on record yet. One is opened by program: see the guide.",
  signIn: "Nobody is signed in here, or the session has ended. ", signInLink: "Sign in",

  toneOff: "Sound near the target: off", toneOn: "Sound near the target: on",
  toneHow: "High single pulses above it, one unbroken tone on grade, low pairs below it; silent without a number.",
  toneWaits: "How it is to sound is not known yet: silent, and asked again.",
  toneNone: "No target is chosen: nothing sounds.",

  buttons: { touch: "Touch", check: "Check", move: "Move", turning: "Turning point", more: "More" },
  others: {
    rod: "Rod check", station: "Touch a station", laser: "Laser set up", clamp: "Receiver clamped elsewhere", swing: "The body swung",
    benchmark: "A known point", target: "Add to the depth sheet", setup: "Put a machine on the job", seat: "Take the seat",
    undo: "Undo", knock: "Something was knocked", concrete: "Concrete comes next",
  },
  write: "Write it", cancel: "Cancel", close: "Close", stop: "Stop asking", writing: "Writing ...",
  moreTitle: "More records",
  still: "Bucket resting, nothing moving for some seconds: the sensors are read while it rests.",
  noAnswer: (tries, rests) => `No answer yet, asked ${tries} ${tries === 1 ? "time" : "times"}. It is asked again and written once.`
    + `${rests ? " If it arrives too late for the rest it was pressed in, it does not count: then touch again." : ""}`,
  noClock: "Not sent: there is no connection by which the service could tell this press from a later one. Wait until readouts come, then press again.",
  undecided: (title) => `${title}: whether it was written is not known, so there is no number. Write it again, or say that it did not happen.`,
  notSo: "It did not happen", writeAgain: "Write it again",
  stopped: "Asking was stopped: whether it was written is not known. The list under Undo shows it once the service answers.",
  written: (told) => `Written as entry ${told.seq}.${told.replayed ? " An earlier try had already written it." : ""}${told.waits ? " It waits for the seat." : ""}`,
  voids: (voids) => `Void now: ${voids.join("; ")}.`,
  reading: (told) => [
    told.role ? sentence(`It ${told.role}`) : "",
    told.elevation ? `${told.type === "touched" && told.role.startsWith("sets") ? "The machine's origin" : "Elevation, as computed here"}: ${told.elevation.shown}.` : "",
    told.misclosure ? `Misclosure ${told.misclosure.shown} (computed minus known).` : "",
  ].filter((each) => each !== "").join(" "),
  checked: ({ check }) => `${check.target}: ${["left", "centre", "right"].map((name) => `${WORDS.points[name]} ${check.points[name].word} ${check.points[name].above_target.shown}`).join(", ")} (edge minus target). ${clean(check.sureness)}.`,
  undoThis: (seq) => `Undo entry ${seq}`,
  titles: {
    touch: "Touch", check: "Check of what was dug", move: "The tracks moved", turning: "Turning point", station: "Station of a sloping target",
    laser: "Laser set up, reset or knocked", clamp: "Receiver clamped elsewhere", rod: "Rod check", benchmark: "A known point", swing: "The body swung", target: "A line for the depth sheet", seat: "Take the seat", undo: "Undo",
    acknowledge: "Put into effect", decline: "Decline", setup: "A machine on the job",
  },
  fields: {
    point: "On which point", purpose: "What for", edge: "Which edge point rests there", name: "Name", target: "Target", station: "Its station",
    turns: "Turns of the head a second", fall: "Fall in percent, 0 for a level plane", benchmark: "Below which point", layer: "Layer", thickness: "Thickness, positive down",
    overdig: "Overdig, 0 for none", tolerance: "Tolerance, half the band", floor: "Never deeper than, below the same point; may stay empty",
    elevation: "Its elevation", known: "Its standard uncertainty; may stay empty",
    staffBy: "Where the staff's elevation comes from", backsightOn: "Backsight on which point", backsight: "Backsight: staff on that point",
    foresight: "Foresight: staff beside the edge", staffElevation: "Elevation by the total station", planeReading: "Staff from the struck laser plane",
    staffUncertainty: "Standard uncertainty of the staff; may stay empty",
    clamp: "Where it sits now", axes: { x: "Along the stick, mm", y: "To the left, mm", z: "Up where the stick points ahead, mm" }, along: "Grade along the boom in percent", across: "Grade across in percent",
    machine: "Which machine", attachment: "With which attachment", entry: "Which entry", anyEntry: "Which entry: nobody signs in here, so they may be somebody else's", reason: "Why", own: "Or in your words", another: "Another layer",
  },
  staffBy: { level: "Level: backsight and foresight", elevation: "Total station", plane: "The job's own laser plane: proves nothing of it" },
  clamps: { profile: "Back where the profile says", place: "At a place in the stick's frame" },
  purposes: { reference: "Sets the height", check: "Checks, changes nothing" },
  reasons: ["The edge did not rest there", "The wrong point", "It did not happen"],
  edges: (line) => (line === "teeth" ? { left: "Left tooth", centre: "Middle tooth", right: "Right tooth" } : { left: "Left corner", centre: "Centre", right: "Right corner" }),
  says: {
    touch: ({ point, purpose, edge }, edges) => `Will be written: ${edges[edge].toLowerCase()} rests on ${point}; ${purpose === "reference" ? "sets the height of the machine" : "checks it and changes nothing"}. ${WORDS.still}`,
    turning: ({ name, edge }, edges) => `Will be written: ${edges[edge].toLowerCase()} rests on a firm new point "${name}", which keeps its elevation after a move. ${WORDS.still}`,
    move: "Will be written: the tracks moved. There is no number until the next touch or strike.",
    swing: "Will be written: the body swung. Stations of sloping targets lapse where swing is not sensed; the height stays.",
    laser: ({ turns, fall }) => `Will be written: the laser was set up, ${turns} turns a second, fall ${fall} %. Its plane is void until the next strike; the height stays. Strikes then come by themselves: move the receiver slowly through the plane.`,
    check: ({ target, line }) => `Will be written: the ${line === "teeth" ? "tooth tips rest" : "edge rests"} on what was dug, held against ${target}. ${WORDS.still}`,
    station: ({ target, station, edge }, edges, units) => `Will be written: ${edges[edge].toLowerCase()} rests at station ${station}${unitOf(units)} of ${target}. ${WORDS.still}`,
    clamp: ({ where, x, y, z }) => `Will be written: the receiver is clamped ${where === "profile" ? "where the profile says" : `at ${x}, ${y}, ${z} mm in the stick's frame`}. The laser plane is void until the next strike; the height stays.`,
    rod: ({ edge }, edges) => `Will be written: a staff beside ${edges[edge].toLowerCase()}, held against what is read here. It changes no height. Bucket on the ground, hydraulics locked, hands off, eye contact, before anybody comes near with the staff. ${WORDS.still}`,
    setup: ({ machine, attachment }) => `Will be written: ${machine || "(which?)"} with ${attachment || "(which?)"} stands on the job. Height and laser plane are void until the next touch or strike.`,
    benchmark: ({ name, elevation, uncertainty }, units) => `Will be written: "${name}" has elevation ${elevation}${unitOf(units)}${uncertainty === "" ? "" : `, standard uncertainty ${uncertainty}${unitOf(units)}`}.`,
    target: ({ name, benchmark, layers, floor }, units) => `Will be written: "${name}", the sum of ${layers.length} ${layers.length === 1 ? "layer" : "layers"} and the overdig below ${benchmark}, in ${units === "ftin" ? "feet and inches" : units}${floor === "" ? "" : `; never deeper than ${floor} below ${benchmark}`}. The answer tells the sum.`,
    seat: (who, seat) => `Will be written: ${who} sits at the machine${seat === null ? "" : `, in place of ${seat}`}. What others change then waits for ${who}.`,
    undo: ({ entry, reason }, words) => `Will be written: ${words} is withdrawn, because: ${reason === "" ? "(say why)" : reason}. What hangs on it becomes void with it, marked, never deleted; the answer lists it.`,
    acknowledge: (words) => `Will be written: this takes effect here, from now on: ${words.join("; ")}.`,
    decline: (words) => `Will be written: this is withdrawn and does not take effect: ${words}.`,
  },
  declined: "declined at the seat",
  sum: (told) => `${told.name}: ${told.depth_below.shown} below ${told.benchmark}, elevation ${told.elevation.shown}.`
    + `${told.floor_limit === null ? "" : ` Floor limit at ${told.floor_limit.shown}: it protects no pipe.`}`,
  rodTold: ({ check }) => [
    sentence(check.words), `Tool ${check.tool.shown}, staff ${check.staff.shown}.`, check.suspect === null ? "" : `Suspect: ${check.suspect} Undo it if it is.`,
    check.cut_fill === null ? "" : `${check.cut_fill.target}: ${check.cut_fill.tool} by the tool, ${check.cut_fill.staff} by the staff.`,
    check.independent ? "" : "The staff's elevation came from the tool itself: it shows nothing of its height.",
  ].filter((each) => each !== "").join(" "),
  needs: { machine: "No machine is on this job yet: put it there first, with what hangs on it.", points: "There is no known point yet: declare a benchmark first.", targets: "Choose a target first.", sloping: "No target slopes.", own: "None of your last entries counts." },
  empty: (label) => `${label}: fill it in.`,
  waits: (each) => `Waits for the seat: ${each.words}, by ${each.actor} (entry ${each.seq}).`,
  waitMany: (all) => `${all.length} changes wait for the seat: ${all.map((each) => `${each.words}, by ${each.actor} (entry ${each.seq})`).join("; ")}.`,
  acknowledge: "Put into effect", decline: "Decline", acknowledgeAll: "Put all into effect, in this order", oneByOne: "One by one",
  notYours: (seat) => `Only ${seat ?? "whoever takes the seat"} may put it into effect.`,
  floorAt: (shown) => `Floor limit of this line: ${shown}.`,
  floor: "BELOW THE FLOOR LIMIT", floorShort: "FLOOR LIMIT",
  changed: (target, was) => `Changed: ${target.name} is now ${WORDS.target(target)[1]}; it was ${was}.`,
  atOnce: (who, seat) => (who.access === "off" ? "Nobody is told apart here: what anybody changes of targets takes effect at once."
    : seat === null ? "Nobody sits at this machine: what anybody changes of targets takes effect at once." : ""),
  seen: "Seen",
};
