// The vetting desk: what waits, what is doubtful about it, and the acts of a vetter and a publisher.
import { attempt, bare, call, choice, dotted, el, isNumber, label, list, mark, people, press, say, tell, word, write } from "./keyed.js";

const $ = (id) => document.getElementById(id);
let open = null; // { record, tag, findings: [{ finding, tick, reason, box }] }

const cell = (textContent, className = "") => el("td", { textContent, className });
const head = (textContent, scope) => el("th", { textContent, scope });
const figure = (v) => (v && typeof v === "object" ? bare(v.value) + " " + (v.unit ?? "") : String(bare(v ?? "–")));
// The fields whose text is a word of the contract; any other text stays as it was written.
const worded = new Set("motor_type origin rotor_position role ring kind joining system conductor build mass_state connection slot_shape slot_area_basis state status".split(" "));
// The unit that a name ends in; a figure in another unit is an object that names it.
const units = { mm: "mm", mm2: "mm²", v: "V", hz: "Hz", w: "W", a: "A", rpm: "r/min", uf: "µF", g: "g", ohm: "Ω", c: "°C" };
function shown(name, v) {
  const field = name.replace(/^.*\./, ""), unit = /_([a-z0-9]+)$/.exec(field)?.[1];
  if (worded.has(field)) return choice(field, figure(v));
  return isNumber(v) && Object.hasOwn(units, unit) ? figure(v) + " " + units[unit] : figure(v);
}

// flat lists a record's figures, each with its dotted name.
function flat(v, name = "") {
  if (v === null || typeof v !== "object" || "value" in v) return [[name, v === true ? say("yes") : v === false ? say("no") : shown(name, v)]];
  if (Array.isArray(v) && v.every((x) => typeof x !== "object")) return [[name, v.map(bare).join(", ")]];
  return Object.entries(v).flatMap(([k, inside]) => flat(inside, name ? name + "." + k : k));
}

const apart = ["id", "slug", "state", "status", "findings", "answers", "etag", "sha256", "created_at", "modified_at", "demo", "quality"];

// readable is the record with its family called by the readable name, where there is one.
async function readable(record) {
  if (!record.family_id) return record;
  const name = await call("GET", `/v1/stator-families/${encodeURIComponent(record.family_id)}`).then(({ said }) => said.slug, () => undefined);
  return name ? { ...record, family_id: name } : record;
}

function facts(record) {
  const rows = flat(Object.fromEntries(Object.entries(record).filter(([k]) => !apart.includes(k))));
  const body = el("tbody", {}, ...rows.map(([name, text]) => el("tr", {}, head(label(name), "row"), cell(text))));
  return el("table", {}, el("caption", { textContent: say("as_submitted") }), body);
}

const turns = (set) => (set.pattern ? (set.pattern.turns ?? []).map(bare).join(" / ") + (set.pattern.groups ? " × " + bare(set.pattern.groups) : "") : (set.coils ?? []).map((c) => bare(c.turns)).join(" / "));
const wire = (w) => [Number(bare(w.strands)) > 1 ? bare(w.strands) + " ×" : "", w.system ? choice("system", w.system) : "", w.size ?? figure(w.diameter_mm), w.conductor === "copper" ? "" : word("choice", w.conductor)].filter(Boolean).join(" ");

// side is what is compared of a record: poles, then turns and wire of each coil set.
function side(record) {
  const out = new Map([[say("poles"), figure(record.scheme?.poles)]]);
  for (const set of record.scheme?.coil_sets ?? []) {
    const role = word("choice", set.role);
    out.set(say("turns_of", role), turns(set));
    out.set(say("wire_of", role), (set.wires ?? []).map(wire).join(" + "));
  }
  return out;
}

// compare puts the record beside the published ones of its family; what differs is marked and said.
function compare(record, others) {
  const mine = side(record), sides = others.map(side);
  const names = [...new Set([mine, ...sides].flatMap((s) => [...s.keys()]))];
  const top = el("tr", {}, head(say("what"), "col"), head(say("this"), "col"), ...others.map((o) => head(o.slug ?? o.id, "col")));
  const rows = names.map((name) => el("tr", {}, head(name, "row"), cell(mine.get(name) ?? "–"), ...sides.map((s) => {
    const theirs = s.get(name) ?? "–";
    return theirs === (mine.get(name) ?? "–") ? cell(theirs) : cell(theirs + " " + say("differs"), "differs");
  })));
  const box = el("div", { className: "scroll", tabIndex: 0 }, el("table", {}, el("caption", { textContent: say("beside") }), el("thead", {}, top), el("tbody", {}, ...rows)));
  box.setAttribute("role", "region");
  box.setAttribute("aria-label", say("beside"));
  return box;
}

async function family(record) {
  if (!record.family_id) return el("p", { textContent: say("no_family") });
  const { said } = await call("GET", `/v1/windings?family=${encodeURIComponent(record.family_id)}&page_size=20`);
  const others = said.items.filter((o) => o.id !== record.id);
  if (!others.length) return el("p", { textContent: say("no_others") });
  const box = compare(record, others.slice(0, 8));
  return others.length > 8 || said.next ? el("div", {}, box, el("p", { className: "small", textContent: say("first_shown", 8) })) : box;
}

// question asks for the answer to a finding; a note needs none.
function question(finding, n) {
  let text = word("severity", finding.severity) + ": " + people(finding.message);
  if (finding.likely_slip) text += (/[.!?]$/.test(text) ? " " : ". ") + say("slip", word("slip", finding.likely_slip.code), finding.likely_slip.corrected);
  const about = el("p", { className: "hint", textContent: (finding.fields ?? []).map((f) => label(dotted(f))).join("; ") });
  if (finding.severity === "note") return { finding, box: el("div", { className: "finding" }, el("p", { textContent: text }), about) };
  const tick = el("input", { type: "checkbox", id: "accept-" + n }), reason = el("textarea", { id: "why-" + n, rows: 2, maxLength: 1000 });
  const check = el("div", { className: "check", id: "why-check-" + n });
  reason.setAttribute("aria-describedby", check.id);
  const box = el("fieldset", { className: "finding" }, el("legend", { textContent: text }), about,
    el("div", { className: "tick" }, tick, el("label", { htmlFor: tick.id, textContent: say("accept") })),
    el("label", { htmlFor: reason.id, textContent: say("why") }), reason, check);
  return { finding, tick, reason, check, box };
}

// gone offers to call a finding corrected for which the record was returned.
function gone(finding, n) {
  const tick = el("input", { type: "checkbox", id: "gone-" + n });
  const box = el("div", { className: "finding gone" }, el("p", { textContent: say("came_back_for", people(finding.message)) }),
    el("div", { className: "tick" }, tick, el("label", { htmlFor: tick.id, textContent: say("corrected") })));
  return { finding, gone: tick, box };
}

const same = (a, b) => a.code === b.code && write(a.fields ?? []) === write(b.fields ?? []);

// answered shows a finding with what the vetter said to it, to whoever publishes.
function answered(record, finding, answer) {
  const box = el("div", { className: "finding" }, el("p", { textContent: word("severity", finding.severity) + ": " + people(finding.message) }));
  if (answer) box.append(el("p", { textContent: answer.answer === "corrected" ? say("was_corrected", record.vetter) : say("was_accepted", record.vetter, answer.reason) }));
  return box;
}

async function show(id) {
  const { said: record, tag } = await call("GET", `/v1/windings/${encodeURIComponent(id)}?view=draft`);
  const beside = await family(record), named = await readable(record);
  const standing = record.findings ?? [];
  const left = (record.returned_findings ?? []).filter((f) => !standing.some((s) => same(f, s)));
  const answer = (f) => (record.answers ?? []).find((a) => same(a, f));
  const vetted = record.state === "vetted";
  const questions = vetted ? [] : [...standing.map(question), ...left.map(gone)];
  const boxes = vetted ? [...standing, ...left.filter(answer)].map((f) => answered(record, f, answer(f))) : questions.map((q) => q.box);
  open = { record, tag, questions };
  $("record-title").textContent = title(record);
  $("facts").replaceChildren(...(record.corrected_for ? [el("p", { textContent: say("corrects", record.corrected_for) })] : []), facts(named));
  $("family").replaceChildren(beside);
  $("checklist").replaceChildren(...(boxes.length ? boxes : [el("p", { textContent: say("none_found") })]));
  for (const id of ["reason", "slug"]) {
    $(id).value = "";
    mark($(id), $(id + "-check"));
  }
  $("vetting").hidden = record.state !== "submitted";
  $("publishing").hidden = !vetted;
  $("record").hidden = false;
  $("outcome").replaceChildren();
  $("record").focus();
}

const title = (r) => say("item", word("choice", r.motor_type ?? "unknown"), figure(r.scheme?.poles), r.slug || r.id);

// waiting shows what stands in a state; afterwards a word about what was just done, if any.
async function waiting(state, ...after) {
  const { count, rest } = await list(`/v1/windings?state=${state}&page_size=50`, (r) => title(r) + " · " + say("by", r.author ?? "–") + " · " + say("found", r.findings?.length ?? 0),
    (id) => attempt(() => show(id)));
  if (after.length || state !== "submitted") $("record").hidden = true;
  tell(true, ...after, count ? say("list_" + state, count) : say("list_none_" + state), ...rest);
}

press("submitted", () => waiting("submitted"));
press("vetted", () => waiting("vetted"));

press("vet", async () => {
  const asked = open.questions.filter((q) => q.tick);
  for (const q of asked) mark(q.reason, q.check, ...(q.tick.checked && q.reason.value.trim() ? [] : [say("answer_this")]));
  const left = asked.find((q) => q.check.childElementCount);
  if (left) {
    tell(false, say("answer_all"));
    (left.tick.checked ? left.reason : left.tick).focus();
    return;
  }
  open.asked = asked;
  const answers = asked.map((q) => ({ code: q.finding.code, fields: q.finding.fields, answer: "accepted", reason: q.reason.value.trim() }));
  for (const { finding, gone } of open.questions) if (gone?.checked) answers.push({ code: finding.code, fields: finding.fields, answer: "corrected" });
  await call("POST", `/v1/windings/${open.record.id}/vetting`, { sha256: open.record.sha256, answers }, open.tag);
  await waiting("submitted", say("vetted"));
}, (pointer, text) => {
  const q = open.asked?.[Number(/^\/answers\/(\d+)/.exec(pointer)?.[1] ?? -1)];
  if (q) mark(q.reason, q.check, text);
  return q && people(q.finding.message);
});

press("return", async () => {
  const reason = $("reason").value.trim();
  mark($("reason"), $("reason-check"), ...(reason ? [] : [say("reason_needed")]));
  if (!reason) {
    $("reason").focus();
    return;
  }
  await call("POST", `/v1/windings/${open.record.id}/return`, { reason }, open.tag);
  await waiting("submitted", say("returned"));
}, (pointer, text) => pointer === "/reason" && (mark($("reason"), $("reason-check"), text), say("reason")));

press("publish", async () => {
  const slug = $("slug").value.trim();
  mark($("slug"), $("slug-check"));
  const { said } = await call("POST", `/v1/windings/${open.record.id}/publication`, slug ? { slug } : {}, open.tag);
  await waiting("vetted", say("published", said.slug), el("p", {}, el("a", { href: "/windings/" + encodeURIComponent(said.slug), textContent: say("see", said.slug) })));
}, (pointer, text) => pointer === "/slug" && (mark($("slug"), $("slug-check"), text), say("slug")));
