// What the form of the car shows: data alone. Kinds: text, whole, number, yes, shaft, or a list of words to choose from.
// `models/README.md` says what each key means.

const f = function (key, label, kind, hint) { return { key: key, label: label, kind: kind || "text", hint: hint || "" }; };
const wide = function (of) { return Object.assign(of, { wide: true }); };

export const tables = [
  { at: "", title: "What it is", fields: [
    wide(f("name", "Name")), f("driven", "Driven wheels", ["rear", "front", "all"]), wide(f("notes", "Notes"))] },
  { at: "engine", title: "Engine", fields: [f("cylinders", "Cylinders", "whole"), f("strokes", "Strokes", "whole", "4")] },
  { at: "tyre", title: "Tyre of the driven wheels", fields: [
    f("size", "Size", "text", "165R15"), f("roll_out", "or rolled out", "text", "5.79 m"), f("turns", "in so many turns", "whole", "1"),
    f("tread_pitches", "Tread blocks", "whole")] },
  { at: "gearbox", title: "Gearbox", fields: [
    f("kind", "Kind", ["two-shaft", "three-shaft"]), f("direct", "Direct gear", "whole"),
    f("input.driving", "Input, driving", "whole"), f("input.driven", "Input, driven", "whole")] },
];

export const finalDrive = { at: "final_drive", title: "Final drive", fields: [
  f("pinion", "Pinion teeth", "whole"), f("ring", "Ring teeth", "whole"), f("ratio", "or the ratio", "text", "4.11")] };

export const lists = [
  { at: "gearbox.gear", title: "Gears", one: "gear", as: "row", named: "gear", fields: [
    f("gear", "Gear"), f("driving", "Driving", "whole"), f("driven", "Driven", "whole"), f("ratio", "or ratio"),
    f("idler", "Idler", "whole"), f("loose", "Loose", ["", "driving", "driven"]), f("sliding", "Sliding", "yes")] },
  { at: "bearing", title: "Bearings", one: "bearing", as: "card", named: "id", fields: [
    f("id", "ID (needed)"), f("name", "What you call it"), f("shaft", "Shaft (needed)", "shaft"),
    f("kind", "Kind", ["", "ball", "angular ball", "roller", "taper", "needle"]), f("elements", "Balls or rollers in a row", "whole"),
    f("element_diameter", "Their diameter", "text", "9.5 mm"), f("pitch_diameter", "Pitch diameter", "text", "52 mm"),
    f("contact_angle", "Contact angle, degrees", "number"), f("rows", "Rows", "whole", "1"), f("designation", "Designation", "text", "6205"),
    f("place", "Place", ["", "input", "layshaft", "mainshaft", "pilot", "release", "pinion head", "pinion tail", "differential", "wheel",
      "machine", "propshaft", "other"]),
    f("side", "Side", ["", "left", "right"]), f("turns", "Ring on the shaft", ["", "inner", "outer", "both"]), f("outer_shaft", "Shaft of the outer ring", "shaft")] },
  { at: "joint", title: "Joints", one: "joint", as: "card", named: "id", fields: [
    f("id", "ID (needed)"), f("name", "What you call it"), f("shaft", "Shaft (needed)", "shaft"), f("kind", "Kind", ["", "cardan", "six-ball", "tripod"]),
    f("angle", "Angle, degrees", "number")] },
  { at: "machine", title: "Driven by belt", one: "machine", as: "card", named: "id", fields: [
    f("id", "ID (needed)"), f("name", "What you call it"), f("ratio", "Turns per engine turn", "number"), f("crank_pulley", "or crank pulley", "text", "135 mm"),
    f("pulley", "and its own pulley", "text", "65 mm"), f("belt_length", "Belt length", "text", "950 mm"), f("blades", "Fan blades", "whole")] },
  { at: "propshaft", title: "Shafts out of balance", one: "shaft", as: "card", named: "id", fields: [
    f("id", "ID (needed)"), f("name", "What you call it"), f("shaft", "Shaft (needed)", "shaft")] },
];

// What a shaft can be called by itself; machines and [[shaft]] tables add theirs.
export const shafts = ["engine", "input", "layshaft", "mainshaft", "propshaft", "pinion", "carrier", "wheel_fl", "wheel_fr", "wheel_rl", "wheel_rr"];
