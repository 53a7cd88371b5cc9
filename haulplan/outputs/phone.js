"use strict";
// The sums of haulplan/underway/reckon.py, in the same order, so that figures agree.
const run = JSON.parse(document.getElementById("run").textContent);
const { near: NEAR, shrink: SHRINK, least: LEAST, most: MOST } = run.constants;
const DAY = 86400;
const AT = 0, WATER = 1, COAL = 2, TIME = 3, BACK = 4, TANK = 5, CLOCK = 6;
const rows = run.rows;

function column(name, at) {
  if (at <= rows[0][AT]) return rows[0][name];
  for (let k = 1; k < rows.length; k += 1) {
    const before = rows[k - 1], after = rows[k];
    if (at <= after[AT]) {
      const share = (at - before[AT]) / (after[AT] - before[AT]);
      return before[name] + share * (after[name] - before[name]);
    }
  }
  return rows[rows.length - 1][name];
}

const levelOf = (look) => (look.filled === null ? look.dip : look.filled);

function dayAt(at, hour) {
  const stop = run.stops.slice(0, -1).find((s) => Math.abs(s.at - at) <= NEAR);
  const arrive = stop === undefined ? column(CLOCK, at) : stop.arrive;
  const leave = stop === undefined ? arrive : stop.leave;
  let best = 0, least = Infinity;
  for (let day = 0; day < run.days.length; day += 1) {
    const clock = hour + DAY * day;
    const off = Math.max(arrive - clock, clock - leave, 0);
    if (off < least) [best, least] = [day, off];
  }
  return best;
}

const dayOf = (clock) => Math.min(Math.max(Math.floor(clock / DAY), 0), run.days.length - 1);
const hourOf = (clock) => clock - DAY * dayOf(clock);

function isDone(stop, look) {
  if (stop.fire !== "") return dayOf(look.clock) > dayOf(stop.arrive);
  if (stop.has_water) return look.filled !== null;
  return look.clock - stop.arrive > stop.leave - look.clock;
}

function thirstOf(looks) {
  let used = SHRINK * run.tank, tabled = SHRINK * run.tank;
  for (let k = 1; k < looks.length; k += 1) {
    const before = looks[k - 1], after = looks[k];
    let gone = levelOf(before) - after.dip;
    for (const stop of run.stops.slice(0, -1)) {
      const here = Math.abs(stop.at - before.at) <= NEAR && !isDone(stop, before);
      if (here || (before.at + NEAR < stop.at && stop.at < after.at - NEAR)) gone -= stop.burns;
    }
    if (after.at - before.at > NEAR && gone > 0) {
      used += gone;
      tabled += column(WATER, after.at) - column(WATER, before.at);
    }
  }
  return Math.min(Math.max(used / tabled, LEAST), MOST);
}

function burntOf(looks) {
  let bags = 0, counted = false;
  for (const look of looks) {
    if (look.bags !== null) {
      bags += look.bags;
      counted = true;
    }
  }
  return counted ? bags * run.bag : -1;
}

function furthest(thirst, [start, level], keep, home) {
  const begin = column(WATER, start);
  const back = home === null ? 0 : column(BACK, home);
  const spare = (at) => {
    let gone = column(WATER, at) - begin;
    if (home !== null) gone += column(BACK, at) - back;
    return level - thirst * gone - keep;
  };
  let low = start, left = spare(start);
  if (left < 0) return -1;
  for (const row of rows) {
    if (row[AT] <= start) continue;
    const after = spare(row[AT]);
    if (after < 0) return low + ((row[AT] - low) * left) / (left - after);
    low = row[AT];
    left = after;
  }
  return low;
}

function behind(thirst, look, tank, dry) {
  if (!run.known_back) return null;
  const waters = run.waters.filter((w) => w.at <= look.at - NEAR && !dry.includes(w.name)
    && (w.closes >= DAY || hourOf(look.clock) <= w.closes));
  if (!waters.length) return null;
  const last = waters[waters.length - 1];
  const used = thirst * (column(BACK, look.at) - column(BACK, last.at));
  return { name: last.name, at: last.at, level: tank - used };
}

function reckon(looks, dry) {
  const look = looks[looks.length - 1];
  const thirst = thirstOf(looks);
  const stop = run.stops.slice(0, -1).find((s) => Math.abs(s.at - look.at) <= NEAR);
  const todo = stop !== undefined && !isDone(stop, look);
  const serves = todo && (!dry.includes(stop.name) || stop.fire !== "");
  const fills = todo && stop.has_water && !dry.includes(stop.name) && look.filled === null;
  const mark = fills && stop.mark > look.dip ? stop.mark : -1;
  const tank = mark >= 0 ? mark : levelOf(look);
  const held = serves ? tank - stop.burns : tank;
  const here = [look.at, held];
  let planned = [column(CLOCK, look.at), column(TANK, look.at)];
  if (stop !== undefined) {
    const dipped = todo || look.filled !== null ? column(TANK, stop.at) : stop.mark - stop.burns;
    planned = [todo ? stop.arrive : stop.leave, dipped];
  }
  const there = (at) => {
    let level = held, clock = look.clock, place = look.at;
    if (serves) clock = Math.max(clock + stop.least, stop.opens);
    for (const one of run.stops.slice(0, -1)) {
      const water = one.has_water && !dry.includes(one.name) && one.fire === "";
      if (look.at + NEAR < one.at && one.at < at - NEAR && !water) {
        level -= thirst * (column(WATER, one.at) - column(WATER, place));
        clock += column(TIME, one.at) - column(TIME, place);
        level -= one.burns;
        clock = Math.max(clock + one.least, one.opens);
        place = one.at;
      }
    }
    level -= thirst * (column(WATER, at) - column(WATER, place));
    return { level, clock: clock + (column(TIME, at) - column(TIME, place)) };
  };
  const finish = run.stops[run.stops.length - 1];
  const target = run.stops.find((s) => s === finish
    || (s.at > look.at + NEAR && s.has_water && !dry.includes(s.name)));
  let { level, clock } = there(target.at);
  let order = "GO ON to", name = target.name, at = target.at;
  const back = behind(thirst, look, tank, dry);
  const reached = clock;
  const closed = run.waters.some((w) => w.name === target.name && hourOf(reached) > w.closes);
  if (level < run.reserve || closed) {
    const ahead = run.waters.filter((w) => look.at + NEAR < w.at && w.at < target.at
      && !dry.includes(w.name) && hourOf(there(w.at).clock) <= w.closes);
    const kept = ahead.filter((w) => there(w.at).level >= run.reserve);
    const wet = ahead.filter((w) => there(w.at).level >= 0);
    const go = (words, place) => { order = words; name = place.name; at = place.at; };
    if (kept.length) go("GO ON, but fill at", kept[kept.length - 1]);
    else if (back !== null && back.level >= run.reserve) go("TURN BACK to", back);
    else if (wet.length) go("GO ON into the reserve to", wet[0]);
    else if (level >= 0 && !closed) order = "GO ON into the reserve to";
    else if (back !== null && back.level >= 0) go("TURN BACK into the reserve to", back);
    else go("STAND, and have water brought", { name: "", at: look.at });
  }
  if (order.startsWith("GO ON")) ({ level, clock } = there(at));
  else { level = -1; clock = -1; }
  if (order.startsWith("TURN BACK") && back !== null) level = back.level;
  return {
    order, name, at, level, clock, thirst,
    reach: furthest(thirst, here, run.reserve, null),
    empty: furthest(thirst, here, 0, null),
    home: back === null ? "" : back.name,
    last: back === null ? -1 : furthest(thirst, here, run.reserve, back.at),
    late: look.clock - planned[0],
    off: look.dip - planned[1],
    burnt: burntOf(looks),
    burns: column(COAL, look.at),
    mark,
    coal: stop === undefined || dry.includes(stop.name) || stop.coal <= 0 ? -1 : stop.coal,
    day: dayOf(look.clock),
    until: run.days[dayOf(look.clock)].until,
    dark: clock >= 0 ? clock - run.days[dayOf(clock)].until : -1,
    leave: todo ? Math.max(look.clock + stop.least, stop.opens) : -1,
    fire: todo ? stop.fire : "",
    doing: todo ? stop.doing.join(", ") : "",
  };
}

// Python rounds a tie to the even digit; a tie is a multiple of a power of two.
function rounded(value, decimals) {
  const halves = Math.abs(value) * 2 ** (decimals + 1);
  const sign = value < 0 ? "-" : "";
  let text = Math.abs(value).toFixed(decimals);
  if (halves % 2 === 1 && Number.isInteger(halves)) {
    const scale = 10 ** decimals, low = Math.floor(Math.abs(value) * scale);
    text = ((low % 2 ? low + 1 : low) / scale).toFixed(decimals);
  }
  return Number(text) === 0 ? text : sign + text;
}

function number(unit, value) {
  const [whole, part] = rounded(value, unit.decimals).split(".");
  const marked = whole.replace(/\B(?=(\d{3})+$)/g, ",");
  return part === undefined ? marked : `${marked}.${part}`;
}

const shown = (unit, value) => `${number(unit, value)} ${unit.label}`;

function clockText(seconds) {
  const minutes = Number(rounded(seconds / 60, 0));
  const days = Math.floor(minutes / 1440), left = minutes - days * 1440;
  const two = (n) => String(n).padStart(2, "0");
  return `${two(Math.floor(left / 60))}:${two(left % 60)}${days ? ` +${days} d` : ""}`;
}

function sentences(found) {
  const { distance, water, coal } = run.units;
  const late = Number(rounded(found.late / 60, 0));
  const lines = { order: found.name ? `${found.order} ${found.name}` : found.order };
  lines.next = "";
  if (found.name) {
    lines.next = `at ${shown(distance, found.at)}`;
    if (found.clock >= 0) lines.next += `, there ${clockText(found.clock)}`;
    lines.next += ` with ${shown(water, found.level)}`;
  }
  const tasks = [];
  if (found.mark >= 0) tasks.push(`fill to ${shown(water, found.mark)}`);
  if (found.coal >= 0) tasks.push(`take ${shown(coal, found.coal)} of coal`);
  if (found.doing) tasks.push(found.doing);
  if (found.fire) {
    tasks.push(run.fires[found.fire] || found.fire);
    tasks.push(`leave ${clockText(found.leave)}`);
  }
  lines.here = tasks.length ? `First, here: ${tasks.join(", ")}` : "";
  lines.reach = found.reach < 0 ? "below the reserve now" : shown(distance, found.reach);
  lines.empty = found.empty < 0 ? "empty" : shown(distance, found.empty);
  lines.turn = !found.home ? "no known water behind"
    : found.last < 0 ? `too late for ${found.home}` : `${shown(distance, found.last)} (${found.home})`;
  lines.late = late === 0 ? "on time" : `${Math.abs(late)} min ${late > 0 ? "late" : "early"}`;
  const off = number(water, Math.abs(found.off));
  lines.off = off === "0" ? "tank as planned"
    : `${off} ${water.label} ${found.off < 0 ? "less" : "more"} than planned`;
  lines.coal = found.burnt < 0 ? "no bags counted"
    : `${shown(coal, found.burnt)} burnt, ${number(coal, found.burns)} planned`;
  lines.thirst = rounded(found.thirst, 2);
  lines.day = run.days.length > 1 ? run.days[found.day].name : "";
  lines.light = "";
  if (found.until < DAY * (found.day + 1)) {
    lines.light = `Wheels may turn until ${clockText(found.until - DAY * found.day)}`;
    if (found.dark > 0) lines.light += `; ${clockText(found.clock)} is after that`;
  }
  return lines;
}

// What is written in the dip: a share (1/3, 33 %, full) or an amount in the page's unit.
function dipOf(text) {
  const words = text.trim().toLowerCase().replace(",", ".");
  let match = words.match(/^(\d{1,2})\s*\/\s*(\d{1,2})$/);
  if (match && Number(match[2])) return run.tank * (Number(match[1]) / Number(match[2]));
  match = words.match(/^(\d+(?:\.\d+)?)\s*%$/);
  if (match) return run.tank * (Number(match[1]) / 100);
  if (words === "full") return run.tank;
  if (words === "empty") return 0;
  return /^\d+(\.\d+)?$/.test(words) ? Number(words) : NaN;
}

const field = (id) => document.getElementById(id);
const FIELDS = ["at", "time", "day", "dip", "filled", "bags", "pressure", "crew", "weather", "remarks"];
let state = { entries: [], dry: [], draft: {} };
let kept = true;

function load() {
  try {
    const text = window.localStorage.getItem(run.key);
    window.localStorage.setItem(run.key, text === null ? JSON.stringify(state) : text);
    const old = text === null ? state : JSON.parse(text);
    if (old && Array.isArray(old.entries) && Array.isArray(old.dry) && old.draft instanceof Object) {
      state = { ...old, entries: old.entries.filter((e) => e && [e.at, e.clock, e.dip]
        .every(Number.isFinite)) };
    }
  } catch (error) {
    kept = error instanceof SyntaxError;
  }
}

function save() {
  try {
    window.localStorage.setItem(run.key, JSON.stringify(state));
    kept = true;
  } catch (error) {
    kept = false;
  }
  field("unkept").hidden = kept;
}

function bagsOf(text) {
  const words = text.trim().replace(",", ".");
  return /^\d+(\.\d+)?$/.test(words) ? Number(words) : null;
}

const looksOf = (entries) => entries.filter((e) => e.dip !== null)
  .map((e) => ({
    at: e.at, clock: e.clock, dip: e.dip, filled: e.filled, bags: bagsOf(e.bags || ""),
  }));

function readForm() {
  const faults = [];
  const at = Number(field("at").value.trim().replace(",", ".") || NaN);
  const end = rows[rows.length - 1][AT];
  if (!(at >= 0 && at <= end)) faults.push(`distance: give 0 to ${shown(run.units.distance, end)}`);
  const time = field("time").value.match(/^(\d{1,2}):(\d\d)/);
  if (!time) faults.push("time: give it as 10:40");
  const amount = (id) => {
    const text = field(id).value;
    if (!text.trim()) return null;
    const value = dipOf(text);
    if (!(value >= 0 && value <= run.tank * 1.05)) {
      faults.push(`${id === "dip" ? "dip" : "filled to"}: give 1/3, 33 %, full, or `
        + `0 to ${shown(run.units.water, run.tank)}`);
    }
    return Math.min(value, run.tank);
  };
  const dip = amount("dip"), filled = amount("filled");
  if (dip === null) faults.push("dip: what does it say?");
  if (field("bags").value.trim() && bagsOf(field("bags").value) === null) {
    faults.push("bags: give a number of bags");
  }
  const last = state.entries[state.entries.length - 1];
  let clock = time ? Number(time[1]) * 3600 + Number(time[2]) * 60 : NaN;
  if (run.days.length > 1) {
    const day = field("day").value;
    clock += DAY * (day === "" ? dayAt(at, clock) : Number(day));
  }
  while (last && clock < last.clock - DAY / 2) clock += DAY;
  if (last && at < last.at - NEAR) faults.push("distance: behind the last entry; take that out first");
  return { faults, entry: {
    at, clock, dip, filled, time: field("time").value, bags: field("bags").value.trim(),
    pressure: field("pressure").value.trim(), crew: field("crew").value.trim(),
    weather: field("weather").value, remarks: field("remarks").value.trim(), place: placeAt(at),
  } };
}

function placeAt(at) {
  const place = [...run.waters, ...run.stops, { name: run.start, at: 0 }]
    .find((w) => Math.abs(w.at - at) <= NEAR);
  return place === undefined ? "" : place.name;
}

function show() {
  field("unkept").hidden = kept;
  const looks = looksOf(state.entries);
  field("answer").hidden = !looks.length;
  field("begin").hidden = looks.length > 0;
  if (looks.length) {
    const lines = sentences(reckon(looks, state.dry));
    for (const [name, text] of Object.entries(lines)) field(`say-${name}`).textContent = text;
    for (const name of ["day", "here", "light"]) field(`say-${name}`).hidden = !lines[name];
  }
  showLog();
  for (const box of document.querySelectorAll("#waters input")) {
    box.checked = state.dry.includes(box.value);
  }
}

function showLog() {
  field("count").textContent = String(state.entries.length);
  field("undo").disabled = !state.entries.length;
  const body = field("log");
  body.replaceChildren();
  for (const entry of [...state.entries].reverse()) {
    const row = body.insertRow();
    const level = entry.filled === null ? "" : `, filled to ${number(run.units.water, entry.filled)}`;
    for (const text of [clockText(entry.clock), number(run.units.distance, entry.at),
      number(run.units.water, entry.dip) + level, entry.bags, entry.place || entry.remarks]) {
      row.insertCell().textContent = text;
    }
  }
}

function cell(text) {
  const plain = /^[=+\-@\t\r＝＋－＠]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(plain) ? `"${plain.replaceAll('"', '""')}"` : plain;
}

function logText() {
  const lines = [run.log_header];
  for (const e of state.entries) {
    const filled = e.filled === null ? "" : e.filled.toFixed(2);
    lines.push([run.days[dayOf(e.clock)].date, e.place, clockText(e.clock % DAY), e.at.toFixed(2), e.dip.toFixed(2),
      filled, e.bags, e.pressure, e.crew, e.weather, e.remarks].map(cell).join(","));
  }
  return `${lines.join("\n")}\n`;
}

function add(event) {
  event.preventDefault();
  const { faults, entry } = readForm();
  field("faults").textContent = faults.join("\n");
  if (faults.length) return;
  state.entries.push(entry);
  for (const id of ["dip", "filled", "bags", "remarks"]) field(id).value = "";
  field("time").value = "";
  field("day").value = "";
  keepDraft();
  show();
  field("top").scrollIntoView();
}

function keepDraft() {
  state.draft = Object.fromEntries(FIELDS.map((id) => [id, field(id).value]));
  save();
}

function start() {
  load();
  for (const id of FIELDS) if (typeof state.draft[id] === "string") field(id).value = state.draft[id];
  field("form").addEventListener("submit", add);
  field("form").addEventListener("input", keepDraft);
  for (const button of document.querySelectorAll("[data-dip]")) {
    button.addEventListener("click", () => { field("dip").value = button.dataset.dip; keepDraft(); });
  }
  field("now").addEventListener("click", () => {
    const now = new Date();
    field("time").value = clockText(now.getHours() * 3600 + now.getMinutes() * 60);
    const two = (n) => String(n).padStart(2, "0");
    const today = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    const day = run.days.findIndex((d) => d.date === today);
    field("day").value = day < 0 ? "" : String(day);
    keepDraft();
  });
  field("undo").addEventListener("click", () => {
    state.entries.pop();
    save();
    show();
  });
  for (const water of run.waters) {
    const label = document.createElement("label"), box = document.createElement("input");
    box.type = "checkbox";
    box.value = water.name;
    box.addEventListener("change", () => {
      state.dry = state.dry.filter((name) => name !== water.name);
      if (box.checked) state.dry.push(water.name);
      save();
      show();
    });
    const words = document.createElement("span");
    words.textContent = `${number(run.units.distance, water.at)}  ${water.name}`;
    label.append(box, words);
    field("waters").append(label);
  }
  field("export").addEventListener("click", () => {
    field("text").value = logText();
    field("text").hidden = false;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([logText()], { type: "text/csv" }));
    link.download = run.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  });
  show();
}

start();
