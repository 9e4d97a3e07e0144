// The data sheet: findings while it is filled in, then draft and submission with a key.
import { Refusal, attempt, bare, call, dotted, el, label, list, mark, number, people, press, read, say, tell, word, write } from "./keyed.js";

const form = document.getElementById("sheet");
const fields = new Map([...form.querySelectorAll(".field")].map((f) => [f.dataset.field, f]));
const written = "core_id family_id core_as_measured motor_type origin nameplate scheme thermal_cutout overhang_lead_mm overhang_far_mm coil_length_mm coil_width_mm liner wedge binding sleeving varnish direction leads viewing_end slot_1_mark remarks quality source licence demo".split(" ");

let base = {}; // the draft as it was read, with what the form does not ask
let draft = null; // { id, tag }
let kept = ""; // the body as it was saved
const loaded = new Map(); // the answers as the draft gave them
const places = new Map(); // pointer into the body to the name in the form

const kindOf = (f) => /\bask-(\w+)/.exec(f.className)[1];
const inputOf = (name) => { const i = form.elements[name]; return i instanceof RadioNodeList ? i[0] : i; };
const boxOf = (name) => fields.get(name).querySelector(".check");

function valueOf(name) {
  const i = form.elements[name];
  return i.type === "checkbox" ? (i.checked ? "yes" : "") : i.value.trim();
}

function setValue(name, v) {
  const i = form.elements[name];
  if (i.type === "checkbox") i.checked = v === "yes";
  else i.value = v;
}

// leaf is the answer as the contract has it, null if it is no number.
function leaf(kind, v) {
  if (kind === "tick") return true;
  if (kind === "list") {
    const list = v.split(/[\s;,]+/).filter(Boolean).map(number);
    return list.includes(undefined) ? null : list;
  }
  return ["number", "count", "pick"].includes(kind) ? number(v) ?? null : v;
}

function put(tree, steps, v) {
  steps.slice(0, -1).forEach((step, i) => {
    tree = tree[step] ??= /^\d+$/.test(steps[i + 1]) ? [] : {};
  });
  if (v === undefined) delete tree[steps.at(-1)];
  else tree[steps.at(-1)] = v;
}

// prune leaves out what is empty, and notes where the rest came from: rows close up.
function prune(v, at, from) {
  places.set(at, from);
  if (v === null || typeof v !== "object") return v;
  const out = Array.isArray(v) ? [] : {};
  for (const [k, inside] of Object.entries(v)) {
    const to = Array.isArray(v) ? out.length : k;
    const rest = prune(inside, at + "/" + to, from ? from + "." + k : k);
    if (rest !== undefined) out[to] = rest;
  }
  return Object.keys(out).length ? out : undefined;
}

// compose makes the body of the answers; what is no number is told at its field.
function compose() {
  const tree = structuredClone(base), wrong = [];
  for (const [name, f] of fields) {
    const v = valueOf(name);
    if (v === (loaded.get(name) ?? "")) continue;
    const l = v === "" ? undefined : leaf(kindOf(f), v);
    if (l === null) wrong.push(name);
    else put(tree, name.split("."), l);
  }
  places.clear();
  return { body: prune(tree, "", "") ?? {}, wrong };
}

// fieldAt finds the question that a name is about: itself, one above it, or the first below.
function fieldAt(name) {
  for (let n = name; n; n = n.slice(0, Math.max(0, n.lastIndexOf(".")))) if (fields.has(n)) return n;
  return [...fields.keys()].find((n) => n.startsWith(name + "."));
}

// nameAt is the name in the form of a pointer into the body, or of a field of a finding.
function nameAt(where) {
  let at = "/" + dotted(where).replaceAll(".", "/"), rest = "";
  while (at && !places.has(at)) {
    rest = "." + at.slice(at.lastIndexOf("/") + 1) + rest;
    at = at.slice(0, at.lastIndexOf("/"));
  }
  return ((places.get(at) ?? "") + rest).replace(/^\./, "");
}

function clear() {
  for (const name of fields.keys()) mark(inputOf(name), boxOf(name));
  document.getElementById("general").replaceChildren();
}

// at puts a refusal at its field and gives the field's name for the outcome.
function at(pointer, text) {
  const name = fieldAt(nameAt(pointer));
  if (!name) return undefined;
  fields.get(name).closest("details").open = true;
  mark(inputOf(name), boxOf(name), ...[...boxOf(name).children].map((p) => p.textContent), text);
  return label(name);
}

// show puts findings at their fields, and those of no field below the form.
function show(findings) {
  const general = [];
  for (const f of findings) {
    let text = word("severity", f.severity) + ": " + people(f.message);
    if (f.likely_slip) text += " " + say("slip", word("slip", f.likely_slip.code), f.likely_slip.corrected);
    const name = f.fields?.length ? fieldAt(nameAt(f.fields[0])) : undefined;
    if (name) boxOf(name).append(el("p", { textContent: text }));
    else general.push(text);
  }
  return general;
}

const sayBelow = (...lines) => document.getElementById("general").replaceChildren(...lines.map((textContent) => el("p", { textContent })));

let waiting, asked = "{}", turn = 0;
// overtake drops a check that waits or is under way: what it says about the sheet as it stood comes too late.
function overtake() {
  clearTimeout(waiting);
  turn++;
}

// check lets the service look the sheet over as it stands.
async function check() {
  const { body, wrong } = compose();
  const { core_id, family_id, ...sheet } = body;
  const text = write(sheet) + wrong;
  if (text === asked) return;
  asked = text;
  const mine = ++turn;
  let answer, said;
  try {
    answer = await fetch("/v1/winding-checks", { method: "POST", headers: { "Content-Type": "application/json", Accept: "application/json" }, credentials: "omit", body: write(sheet) });
    said = read(await answer.text());
  } catch { return; } // without a connection the sheet can still be filled in
  if (mine !== turn) {
    if (asked === text) asked = undefined; // nobody has seen what it says
    return;
  }
  clear();
  for (const name of wrong) mark(inputOf(name), boxOf(name), say(kindOf(fields.get(name)) === "list" ? "not_numbers" : "not_number"));
  if (answer.ok) {
    const general = show(said.findings);
    sayBelow(say(said.findings.length ? "found" : "none_found", said.findings.length), ...general);
    return;
  }
  const missing = (said.errors ?? []).filter((e) => e.code === "REQUIRED");
  for (const e of (said.errors ?? []).filter((e) => e.code !== "REQUIRED")) at(e.pointer ?? "", people(e.detail));
  if (missing.length) sayBelow(say("waits", [...new Set(missing.map((e) => { const n = nameAt(e.pointer); return label(fieldAt(n) ?? n); }))].join("; ")));
}

// take remembers the draft as the service has it.
function take(record, tag) {
  draft = { id: record.id, tag };
  base = Object.fromEntries(written.filter((k) => k in record).map((k) => [k, record[k]]));
  for (const name of fields.keys()) {
    const v = name.split(".").reduce((t, step) => t?.[step], base);
    loaded.set(name, textOf(v));
    setValue(name, textOf(v));
  }
  kept = write(compose().body);
  document.getElementById("standing").textContent = say("standing", word("choice", record.state), record.id);
}

// textOf shows an answer as it would be typed. A figure in another unit shows it, and stays as it is.
function textOf(v) {
  if (v === undefined || v === false) return "";
  if (v === true) return "yes";
  if (Array.isArray(v)) return v.map(bare).join(" ");
  if (typeof v === "object") return bare(v.value) + (v.unit && v.unit !== "mm" ? " " + v.unit : "");
  return bare(v);
}

const uuid = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/, slug = /^[a-z0-9]+(-[a-z0-9]+)*$/;
// family puts the id of the family in the place of its readable name; it gives what is wrong with the name.
async function family(body) {
  const typed = body.family_id?.toLowerCase();
  if (!typed || uuid.test(typed)) return undefined;
  if (!slug.test(typed)) return say("family_name");
  try {
    body.family_id = (await call("GET", "/v1/stator-families/" + typed)).said.id;
  } catch (why) {
    if (!(why instanceof Refusal && why.status === 404)) throw why;
    return say("no_such_family", typed);
  }
  return undefined;
}

async function save() {
  overtake();
  const { body, wrong } = compose();
  clear();
  const unknown = await family(body);
  if (wrong.length || unknown) {
    for (const name of wrong) at("/" + name.replaceAll(".", "/"), say("not_number"));
    if (unknown) at("/family_id", unknown);
    tell(false, say("look_again"), ...wrong.map(label), ...(unknown ? [label("family_id")] : []));
    return null;
  }
  const { said, tag } = draft ? await call("PUT", "/v1/windings/" + draft.id, body, draft.tag) : await call("POST", "/v1/windings", body);
  take(said, tag);
  sayBelow(...show(said.findings ?? []));
  return said;
}

press("save", async () => {
  const record = await save();
  if (record) tell(true, say("saved"), say(record.findings?.length ? "found" : "none_found", record.findings?.length));
}, at);

press("submit", async () => {
  if (!draft || write(compose().body) !== kept) {
    if (!(await save())) return;
  }
  const { said, tag } = await call("POST", `/v1/windings/${draft.id}/submission`, {}, draft.tag);
  take(said, tag);
  tell(true, say("submitted"), say("submitted_next"));
}, at);

press("drafts", async () => {
  const text = (r) => say("item", word("choice", r.motor_type ?? "unknown"), bare(r.scheme?.poles ?? "–"), r.id);
  const { count, rest } = await list("/v1/windings?state=draft&page_size=50", text, (id) => attempt(async () => {
    const { said: record, tag } = await call("GET", `/v1/windings/${id}?view=draft`);
    overtake();
    take(record, tag);
    clear();
    sayBelow(...show(record.findings ?? []));
    tell(true, say("opened"), ...(record.returned_for ? [say("returned_for", record.returned_for)] : []));
  }, at));
  tell(true, count ? say("drafts", count) : say("no_drafts"), ...rest);
});

form.addEventListener("input", () => {
  overtake();
  waiting = setTimeout(check, 400);
});
if ([...fields.keys()].some(valueOf)) check();
