// @ts-check
/**
 * Line drawings of where to look or measure, fetched when the first is wanted. A drawing is a list of parts, each an
 * outline; the part that a question is about is drawn strongly and named below. Our own, schematic and to no scale.
 */
import { h } from "./dom.js";
import { t } from "./text.js";

/** @param {number} x @param {number} y @param {number} r a circle */
const o = (x, y, r) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0`;
/** @param {number} x @param {number} y @param {number} w @param {number} high a box */
const box = (x, y, w, high) => `M${x} ${y}h${w}v${high}h${-w}z`;
/** @param {number} x @param {number} y a meter that shows volts */
const meter = (x, y) =>
  box(x, y, 40, 40) + box(x + 6, y + 6, 28, 12) + o(x + 20, y + 29, 6) + `M${x + 20} ${y + 29}v-5`;
/** @param {number} x @param {number} y @param {string} puffs how a plume is drawn */
const plume = (x, y, puffs) => `M${x} ${y}h36m0-10v20M${x} ${y - 10}h36M${x} ${y + 10}h36` + puffs;
/** @param {number} x @param {number} y @param {number} r */
const cloud = (x, y, r) =>
  `M${x} ${y}q${r} ${-2 * r} ${2 * r} 0q${2 * r} ${-r} ${1.5 * r} ${r}q${r} ${1.5 * r} ${-1.5 * r} ${r}` +
  `q${-r} ${r} ${-2 * r} 0q${-1.5 * r} 0 0 ${-2 * r}`;

/**
 * The drawings: parts in the order of painting, "?" before the name of one that shows only where it is meant, "~"
 * before one that lies inside; signs at their places, words for those that have a text.
 * @type {Record<string, {parts: Record<string, string>, signs?: [number, number, string][]}>}
 */
export const DRAWINGS = {
  heater: {
    parts: {
      body: "M70 50h170a10 10 0 0 1 10 10v50a10 10 0 0 1-10 10h-170z",
      fan: "M70 50 44 60v50l26 10zM52 64v42M60 61v48",
      outlet: "M250 58l30 6v42l-30 6zM288 74h22m-6-5 6 5-6 5M288 96h22m-6-5 6 5-6 5",
      intake: "M138 120v40h10v-40M143 176v-12m-4 5 4-5 4 5",
      exhaust: "M176 120v44h20v-44M186 164v14m-5-6 5 6 5-6",
      fuel: "M218 120v26h6v-26M221 146v14h30",
      "~burner": box(152, 66, 86, 38) + "M176 66v38",
      "~wheel": "M82 62v46M96 62v46M82 62l14 46M96 62 82 108",
      "~board": box(106, 58, 34, 20) + "M112 64h10m-10 6h18",
      glow: "M194 50v-14h12v14M200 36v-14h-30M200 50v26",
      screen: "M192 52h16v22h-16zM192 58h16m-16 6h16m-16 6h16",
      sensor: o(160, 50, 5) + "M160 45v-20h-22",
      supply: box(84, 120, 22, 16) + "M90 136v20h-54M100 136v34h-64",
    },
    signs: [
      [4, 90, "sign.room_air"],
      [252, 50, "sign.warm"],
      [22, 160, "+"],
      [22, 174, "−"],
    ],
  },
  pump: {
    parts: {
      inlet: "M20 168h40l40-40",
      outlet: "M176 52 216 12h70",
      pump: "M92 108l64-64 28 28-64 64zM104 96l28 28M142 58l28 28",
      arrow: "M120 116l36-36m-16 2 16-2-2 16",
      plug: "M164 92l16 14M182 100l12-12 18 18-12 12zM206 112l24 24h40M200 118l24 24h46",
      "?angle": "M100 128h120M160 128a60 60 0 0 0-18-42",
      "?jar": "M270 40v110h30v-110M270 60h8m-8 18h8m-8 18h8m-8 18h8M272 122h26M284 12v24",
    },
    signs: [
      [8, 156, "sign.tank"],
      [222, 30, "sign.heater"],
      [224, 124, "?angle 45°"],
    ],
  },
  line: {
    parts: {
      tank: box(8, 100, 56, 60) + "M8 122h56",
      suction: "M50 116V70h38",
      joint: "M84 64h10v12h-10zM128 64h10v12h-10z",
      pump: box(96, 58, 30, 24) + "M103 70h14m-5-4 5 4-5 4",
      clear: "M140 64h100v12h-100z",
      bubbles: o(156, 70, 3) + o(176, 70, 4) + "M192 66h16a4 4 0 0 1 0 8h-16a4 4 0 0 1 0-8z" + o(226, 70, 3),
      pressure: "M240 70h22v40h16",
      heater: box(278, 92, 36, 40),
      "?kink": "M244 82l14-8 8 12-8 8 14 8",
      "?bore": "M184 44v16m-4-4 4 4 4-4M184 96V80m-4 4 4-4 4 4",
      "?lamp": "M160 30h20l6 8v8h-32v-8zM162 52l-6 10M170 52v10M178 52l6 10",
    },
    signs: [
      [10, 176, "sign.tank"],
      [92, 48, "sign.pump"],
      [262, 150, "sign.heater"],
    ],
  },
  supply: {
    parts: {
      battery: box(14, 76, 70, 60) + "M26 76v-8h12v8M60 76v-8h12v8",
      fuse: box(110, 36, 34, 16) + "M116 44q5-8 11 0t11 0",
      plus: "M32 68V44h78M144 44h98v40h14",
      minus: "M66 68v-8h24v92h152v-44h14",
      joints: o(32, 68, 4) + o(110, 44, 4) + o(144, 44, 4) + o(66, 68, 4),
      plug: box(256, 76, 14, 40),
      heater: box(270, 62, 44, 68),
      "?at_battery": meter(30, 4) + "M36 44v20M64 44v20",
      "?at_heater": meter(190, 76) + "M230 84h26M230 108h26",
      "?along_plus": meter(176, 76) + "M32 64V20h164v56M216 84h40",
      "?along_minus": meter(176, 76) + "M66 72h34v40h76M216 108h40",
    },
    signs: [
      [26, 100, "+"],
      [60, 100, "−"],
      [16, 154, "sign.battery"],
      [262, 150, "sign.heater"],
    ],
  },
  trial: {
    parts: {
      battery: box(14, 76, 70, 60) + "M26 76v-8h12v8M60 76v-8h12v8",
      fuse: box(110, 36, 34, 16) + "M116 44q5-8 11 0t11 0",
      plus: "M32 68V44h78M144 44h98v40h14",
      minus: "M66 68v-8h24v92h152v-44h14",
      plug: box(256, 76, 14, 40),
      heater: box(270, 62, 44, 68),
      cut: box(150, 84, 44, 36) + "M158 84v-6h8v6M178 84v-6h8v6M162 76v-6m20 6v-6M144 114l56-36M144 78l56 36",
    },
    signs: [
      [26, 100, "+"],
      [60, 100, "−"],
      [12, 174, "sign.good"],
      [262, 150, "sign.heater"],
      [146, 138, "sign.own"],
    ],
  },
  clamp: {
    parts: {
      plus: "M8 60h304",
      minus: "M8 120q150 24 304 0",
      clamp:
        "M140 74a28 28 0 1 1 40 0l-8-8a17 17 0 1 0-24 0zM160 26v11" +
        "M134 78h52v80a8 8 0 0 1-8 8h-36a8 8 0 0 1-8-8z" +
        box(144, 92, 32, 18) +
        o(160, 136, 9) +
        "M160 136v-6",
    },
    signs: [
      [10, 50, "+"],
      [10, 146, "−"],
      [212, 50, "sign.one_wire"],
      [150, 106, "A ="],
    ],
  },
  ends: {
    parts: {
      wall:
        "M16 44h288M16 52h288M24 52l-8 8m24-8-8 8m24-8-8 8m24-8-8 8m24-8-8 8m24-8-8 8" +
        "m60-8-8 8m24-8-8 8m44-8-8 8m24-8-8 8m24-8-8 8m24-8-8 8",
      heater: box(96, 6, 110, 32),
      intake: "M126 38v50a12 12 0 0 1-12 12H50v-10h60a6 6 0 0 0 6-6V38",
      intake_end: "M50 86v18M14 95h28m-6-5 6 5-6 5",
      exhaust: "M166 38v70a20 20 0 0 0 20 20h70v-20h-64a6 6 0 0 1-6-6V38",
      joint: box(160, 60, 32, 12),
      exhaust_end: "M256 104v28M266 112q10-8 18 0t18 0M266 124q10-8 18 0t18 0",
      "?drops": "M260 140q-6 9 0 12q6-3 0-12M276 150q-6 9 0 12q6-3 0-12",
      "?apart": "M50 160h206M58 154l-8 6 8 6M248 154l8 6-8 6",
    },
    signs: [
      [122, 27, "sign.heater"],
      [236, 40, "sign.inside"],
      [214, 82, "sign.outside"],
    ],
  },
  duct: {
    parts: {
      heater: box(10, 60, 70, 44),
      outlet: "M80 66l16 4v24l-16 4",
      duct: "M96 70h84a10 10 0 0 0 10-10V22h26v46a28 28 0 0 1-28 28H96M216 22h60v26h-60",
      bend: "M180 70a10 10 0 0 0 10-10h26v8a28 28 0 0 1-28 28h-8zM190 22h26v26h-26z",
      grille: box(276, 18, 12, 34) + "M276 26h12m-12 8h12m-12 8h12",
      width: "M130 50v16m-4-4 4 4 4-4M130 116v-16m-4 4 4-4 4 4",
      "?length": "M96 83h90a17 17 0 0 0 17-17V35h73m-8-6 8 6-8 6M104 77l-8 6 8 6",
    },
    signs: [
      [14, 124, "sign.heater"],
      [262, 74, "sign.warm"],
    ],
  },
  tank: {
    parts: {
      tank: "M20 60h120v96H20z",
      cap: "M36 60v-12h28v12M34 48h32v-8H34z",
      level: "M20 112q10-6 20 0t20 0t20 0t20 0t20 0t20 0",
      pickup: "M112 60v80M106 60v84h12V60M112 44h48v18",
      valve: "M150 62l20 14V62l-20 14zM160 69v-12h-8m8 0h8",
      filter: box(176, 60, 22, 18) + "M180 60v18m5-18v18m5-18v18",
      pump: box(206, 58, 28, 22) + "M212 69h14m-5-4 5 4-5 4",
      line: "M170 69h6M198 69h8M234 69h10v36h16",
      heater: box(260, 86, 52, 40),
      "?height": "M8 60h6M11 60v46m-4-6 4 6 4-6M8 106h250",
      "?engine": "M112 44V20h80M192 8h40v24h-40z",
      "?sample": "M180 100v46h30v-46M180 116h30M180 134h30",
      "?can": "M168 110h30v40h-30zM172 110v-8h10v8M190 110V74h18",
    },
    signs: [
      [58, 174, "sign.tank"],
      [200, 48, "sign.pump"],
      [262, 144, "sign.heater"],
      [240, 26, "?engine sign.engine"],
    ],
  },
  smoke: {
    parts: {
      steam: plume(10, 40, "M56 32q6-6 12 0M56 42q6-6 12 0M74 34q4-4 8 0"),
      white: plume(170, 40, cloud(216, 34, 11) + cloud(248, 28, 12)),
      black: plume(
        10,
        120,
        cloud(58, 116, 11) + cloud(88, 108, 12) + "M58 106l14 14m-6-20 20 20m-4-24 22 22m-12-22 16 16",
      ),
      blue: plume(170, 120, cloud(216, 116, 11) + cloud(246, 108, 12) + "M222 112h14m-10 6h14m8-10h14m-10 6h14"),
    },
    signs: [
      [10, 76, "sign.steam"],
      [170, 76, "sign.white"],
      [10, 160, "sign.black"],
      [170, 160, "sign.blue"],
    ],
  },
};

/** For each observation the drawing, and the parts that it is about. @type {Record<string, string>} */
export const SHOWN = {
  glow_plug_resistance: "heater glow",
  glow_plug_look: "heater glow",
  glow_plug_kind: "heater glow",
  screen_look: "heater screen",
  sensor_seated: "heater sensor",
  sensor_resistance: "heater sensor",
  sensor_kind: "heater sensor",
  fan_runs: "heater fan",
  fan_by_hand: "heater wheel",
  fan_noise: "heater fan",
  fan_look: "heater wheel",
  fan_magnets: "heater wheel",
  inlet_clearance: "heater fan",
  outlet_flow: "heater outlet",
  outlet_heat: "heater outlet",
  burner_look: "heater burner",
  flame_sound: "heater exhaust",
  bang_on_lighting: "heater burner",
  board_swap: "heater board",
  connectors: "heater supply",
  loom_wiggle: "heater supply",
  fuel_at_burner: "heater fuel",
  pump_angle: "pump angle",
  pump_arrow: "pump arrow",
  pump_connector: "pump plug",
  pump_pulses: "pump plug",
  pump_coil_resistance: "pump plug",
  pump_ticks: "pump pump",
  pump_match: "pump pump",
  pump_dose: "pump pump",
  fuel_per_100_strokes: "pump jar",
  bubbles: "line bubbles lamp",
  line_see_through: "line clear",
  line_type: "line pressure suction",
  line_bore: "line bore",
  line_length: "line suction pressure",
  line_kink: "line kink",
  wet_joint: "line joint",
  primed: "line pressure",
  rest_voltage: "supply at_battery",
  glow_voltage_battery: "supply at_battery",
  glow_voltage_heater: "supply at_heater",
  drop_positive: "supply along_plus",
  drop_negative: "supply along_minus",
  fuse: "supply fuse",
  joint_warm: "supply joints",
  cable_area: "supply plus minus",
  cable_length: "supply plus",
  feed_point: "supply joints",
  known_good_battery: "trial battery fuse",
  start_current: "clamp clamp",
  pipe_ends: "ends apart",
  exhaust_path: "ends exhaust exhaust_end",
  exhaust_joints: "ends joint",
  exhaust_warms: "ends exhaust_end",
  fuel_in_exhaust: "ends drops",
  intake_path: "ends intake intake_end",
  intake_from: "ends intake_end",
  duct_length: "duct length",
  duct_bends: "duct bend",
  duct_diameter: "duct width",
  outlet_path: "duct duct grille",
  tank_level: "tank level",
  cap_loosened: "tank cap",
  pickup: "tank pickup",
  fuel_valve: "tank valve",
  filter_look: "tank filter",
  pump_place: "tank pump",
  tank_position: "tank height",
  fuel_look: "tank sample",
  temporary_can: "tank can",
  fuel_kind: "tank cap",
  smoke: "smoke steam white black blue",
};

/** The drawing for an observation, or null. @param {string} id */
export function viewDrawing(id) {
  if (!Object.hasOwn(SHOWN, id)) return null;
  const [name, ...lit] = SHOWN[id].split(" "),
    drawing = DRAWINGS[name];
  // Where everything is meant, nothing need stand out.
  const all = Object.keys(drawing.parts).every((part) => lit.includes(part)),
    meant = all ? [] : lit;
  const paths = Object.entries(drawing.parts).map(([mark, d]) => {
    const part = mark.replace(/^[?~]/, ""),
      strong = meant.includes(part);
    if (mark[0] === "?" && !strong) return null;
    return h("path", { d, "data-part": part, class: strong ? "lit" : mark[0] === "~" ? "within" : null });
  });
  const signs = (drawing.signs || []).map(([x, y, sign]) => {
    const [only, text] = sign[0] === "?" ? [sign.slice(1).split(" ")[0], sign.split(" ")[1]] : ["", sign];
    return (!only || meant.includes(only)) && h("text", { x, y }, text.startsWith("sign.") ? t(text) : text);
  });
  const title = "drawing-title-" + id,
    desc = "drawing-desc-" + id,
    marked = meant.map((part) => t(`part.${name}.${part}`)).join("; ");
  return h(
    "figure",
    { key: "drawing-" + id, class: "drawing", "data-drawing": id },
    h(
      "svg",
      { viewBox: "0 0 320 184", role: "img", "aria-labelledby": title + " " + desc },
      h("title", { id: title }, t("drawing." + name)),
      h("desc", { id: desc }, t("drawing.does." + name) + (marked ? " " + t("drawing.marked", { parts: marked }) : "")),
      paths,
      signs,
    ),
    marked && h("figcaption", { class: "soft" }, t("drawing.marked", { parts: marked })),
  );
}
