// Where pins lie in the sheet's drawings, and which dimension each field is. Invented places, not to scale: a drawing to
// scale of a machine that is not yet measured would have to guess.

/** Drawings by name: pins [x, y], lines [kind, pins...] of the parts. y grows downwards. */
export const SCENES = {
  side: {
    pins: {
      O: [62, 232], F: [104, 232], G: [104, 322], B: [205, 96], S: [300, 88], K: [392, 214], L: [428, 238], E: [350, 316], H: [436, 306],
      I: [362, 190], J: [414, 176], C: [350, 74], D: [138, 272], M: [208, 130], N: [232, 62], P: [272, 58], Q: [160, 110], W: [256, 116], R: [296, 168], U: [296, 128],
    },
    lines: [
      ["body", "O", "F", "D"], ["link", "F", "B", "S"], ["link", "P", "S", "K"], ["link", "I", "J", "L"], ["shell", "K", "L", "H", "E", "K"],
      ["drive", "D", "M"], ["drive", "N", "P"], ["drive", "C", "J"], ["mast", "R", "U"],
    ],
  },
  above: {
    pins: { O: [70, 200], P: [150, 160], F: [200, 250], S: [420, 250], R: [330, 200], Y: [330, 250] },
    lines: [["link", "F", "S"], ["axis", "O", "P"]],
  },
  bucket: {
    pins: { K: [180, 84], L: [330, 84], E: [90, 318], H: [330, 250], T: [66, 344], A: [255, 140], Z: [135, 200], M: [70, 60], N: [150, 34] },
    lines: [["shell", "K", "L", "H", "E", "K"], ["tooth", "E", "T"]],
  },
  step: {
    pins: { M: [110, 70], N: [260, 70], K: [220, 190], L: [340, 250], E: [140, 340] },
    lines: [["link", "M", "N"], ["shell", "K", "L", "E", "K"]],
  },
  behind: {
    pins: { EL: [110, 290], ER: [370, 290], HL: [130, 230], HR: [350, 230], TL: [120, 322], TR: [360, 322], C: [240, 120], A: [280, 120], UL: [118, 240] },
    lines: [["shell", "EL", "ER", "HR", "HL", "EL"], ["tooth", "EL", "TL"], ["tooth", "ER", "TR"], ["axis", "C", "A"]],
  },
};

const xz = (scene, path, inner, outer, pin) => ({
  [`${path}.x`]: [scene, "x", inner, outer, pin], [`${path}.z`]: [scene, "z", inner, outer, pin],
  [`${path}.to_inner`]: [scene, "line", inner, pin], [`${path}.to_outer`]: [scene, "line", outer, pin],
  [`${path}.side`]: [scene, "line", inner, outer], [path]: [scene, "line", inner, pin],
});
const span = (scene, path, at, from, to) => ({ [`${path}.low`]: [scene, "turn", at, from, to], [`${path}.high`]: [scene, "turn", at, from, to] });
const stroke = (path, foot, eye) => Object.fromEntries(["shortest", "longest", "extending"].map((name) => [`${path}.${name}`, ["side", "line", foot, eye]]));
const step = (path) => ({ ...xz("step", path, "M", "N", "K"), [`${path}.angle`]: ["step", "turn", "K", "N", "L"] });

/** The drawing and dimension of a field, [drawing, kind, pins...]: "line" from pin to pin, "x" and "z" in the frame of two
 * pins, "level" and "plumb" on the ground, "turn" at a pin from one to another. `piece`: with a fore boom. */
export function dimensionOf(kind, path, piece) {
  return (kind === "machine" ? MACHINE(piece ? "B" : "S", piece ? "B" : "F") : ATTACHMENT)[path] ?? null;
}

const MACHINE = (end, last) => ({
  "boom.foot.forward": ["side", "level", "O", "F"], "boom.foot.left": ["above", "plumb", "F", "O"],
  "boom.foot_above_ground": ["side", "plumb", "F", "G"], "boom.length": ["side", "line", "F", end],
  "boom.cylinder.foot.x": ["side", "level", "F", "D"], "boom.cylinder.foot.z": ["side", "plumb", "F", "D"],
  ...xz("side", "boom.cylinder.eye", "F", end, "M"), ...stroke("boom.cylinder", "D", "M"), ...span("side", "boom.range", "F", "+level", end),
  "fore_boom.length": ["side", "line", "B", "S"], ...xz("side", "fore_boom.cylinder.foot", "F", "B", "Q"),
  ...xz("side", "fore_boom.cylinder.eye", "B", "S", "W"), ...stroke("fore_boom.cylinder", "Q", "W"), ...span("side", "fore_boom.range", "B", "+FB", "S"),
  "stick.length": ["side", "line", "S", "K"], ...xz("side", "stick.cylinder.foot", last, "S", "N"), ...xz("side", "stick.cylinder.eye", "S", "K", "P"),
  ...stroke("stick.cylinder", "N", "P"), ...span("side", "stick.range", "S", `+${last}S`, "K"),
  ...xz("side", "bucket.linkage.idler_pivot", "S", "K", "I"), "bucket.linkage.idler": ["side", "line", "I", "J"],
  "bucket.linkage.power_link": ["side", "line", "J", "L"], "bucket.linkage.branch": ["side", "line", "J", "K"],
  ...span("side", "bucket.linkage.idler_range", "I", "+SK", "J"), ...xz("side", "bucket.cylinder.foot", "S", "K", "C"),
  ...stroke("bucket.cylinder", "C", "J"), ...span("side", "bucket.range", "K", "+SK", "L"),
  "receiver.place.x": ["side", "x", "S", "K", "R"], "receiver.place.z": ["side", "z", "S", "K", "R"], "receiver.place.y": ["above", "plumb", "Y", "R"],
  "receiver.mast_angle": ["side", "turn", "R", "+SK", "U"],
  "swing_boom.post.forward": ["above", "level", "O", "P"], "swing_boom.post.left": ["above", "plumb", "P", "O"],
  ...span("above", "swing_boom.range", "P", "+OP", "S"),
  "place.body": ["side", "line", "O", "F"], "place.boom": ["side", "line", "F", end], "place.fore_boom": ["side", "line", "B", "S"], "place.stick": ["side", "line", "S", "K"],
  "place.idler": ["side", "line", "I", "J"], "place.power_link": ["side", "line", "J", "L"], "place.bucket": ["side", "line", "K", "L"], "place.swing_boom": ["above", "line", "P", "S"],
});

// Each corner of an edge by its three numbers; the drawing has one edge.
const points = (path) => Object.fromEntries(Array.from({ length: 200 }, (_, i) => [[`${path}.${i}.0`, ["bucket", "x", "K", "L", "E"]], [`${path}.${i}.1`, ["behind", "level", "EL", "C"]], [`${path}.${i}.2`, ["bucket", "z", "K", "L", "E"]]]).flat());

const ATTACHMENT = {
  "pins.spacing": ["bucket", "line", "K", "L"], ...xz("bucket", "bucket.edge", "K", "L", "E"), ...xz("bucket", "bucket.heel", "K", "L", "H"),
  ...xz("bucket", "teeth.tip", "K", "L", "T"), "bucket.width": ["behind", "level", "EL", "ER"], "bucket.heel_width": ["behind", "level", "HL", "HR"],
  "teeth.width": ["behind", "level", "TL", "TR"], ...step("coupler"), "coupler.play": ["step", "turn", "M", "N", "K"], ...step("mount"),
  ...Object.fromEntries(["tilt", "rotate"].flatMap((axis) => Object.entries({
    [`${axis}.point.x`]: ["bucket", "x", "K", "L", "A"], [`${axis}.point.z`]: ["bucket", "z", "K", "L", "A"], [`${axis}.point.y`]: ["behind", "level", "C", "A"],
    [`${axis}.direction.x`]: ["bucket", "level", "A", "Z"], [`${axis}.direction.z`]: ["bucket", "plumb", "A", "Z"], [`${axis}.direction.y`]: ["behind", "level", "C", "A"],
  }))),
  ...span("behind", "tilt.range", "C", "+CA", "EL"), "tilt.check.angle": ["behind", "turn", "ER", "EL", "UL"], "tilt.check.left_corner_up": ["behind", "plumb", "EL", "UL"],
  ...span("behind", "rotate.range", "C", "+CA", "EL"), "rotate.check.angle": ["behind", "turn", "C", "+CA", "EL"],
  "rotate.check.left_corner_forward": ["behind", "line", "C", "EL"],
  "place.coupler": ["step", "line", "M", "N"], "place.bucket": ["bucket", "line", "K", "L"], "place.tilt": ["behind", "line", "EL", "ER"], "place.rotate": ["bucket", "line", "A", "Z"],
  ...points("bucket.edge.points"), "bucket.edge.centre": ["behind", "line", "EL", "ER"],
};
