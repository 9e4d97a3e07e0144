// What the pages that need a key share. The key stays in the field that it is typed into: it goes
// into no store, no cookie and no address, and is gone with the page.

const words = new Map([...document.querySelectorAll("#words dt")].map((dt) => [dt.textContent, dt.nextElementSibling.textContent]));

// say gives a text of the catalogue with what belongs into it.
export const say = (key, ...args) => args.reduce((text, a) => text.replace(/%[sd]/, () => a), words.get("say." + key) ?? key);

// word names a word of the contract, and gives any other text as it is.
export const word = (kind, text) => words.get(kind + "." + text) ?? text;

// choice names a word of a field: by the field where it means something else there.
export const choice = (field, text) => words.get(`choice.${field}.${text}`) ?? word("choice", text);

// label names a field by its dotted name: "Coil set 2: Turns".
export function label(name) {
  const plain = name.replace(/\.\d+(?=\.|$)/g, "").replace(/^(core|core_as_measured)\./, "");
  const row = /^([a-z_.]*?)\.(\d+)\./.exec(name);
  const text = words.get("field." + name.replace(/\.\d+\./, ".")) ?? words.get("field." + plain) ?? plain.replace(/^.*\./, "").replaceAll("_", " ");
  const rows = row && words.get("row." + row[1]);
  return rows ? rows.replace("%d", Number(row[2]) + 1) + ": " + text : text;
}

// dotted brings the name that a finding or a pointer calls a field by to one form.
export const dotted = (field) => field.replace(/^\//, "").replaceAll("/", ".").replace(/\[(\d+)\]/g, ".$1").replace(/^core\./, "core_as_measured.");

// people puts labels into a sentence in the place of the contract's names.
export const people = (text) => text.replace(/\b[a-z][a-z0-9]*(?:(?:[._]|\[\d+\]\.?)[a-z0-9]+)+\b/g, (name) => {
  const known = dotted(name).replace(/\.\d+(?=\.|$)/g, "").replace(/^core_as_measured\./, "");
  return words.has("field." + known) ? "“" + label(dotted(name)) + "”" : name;
});

// el makes an element; texts inside it are texts, whatever they hold.
export function el(tag, set, ...inside) {
  const e = Object.assign(document.createElement(tag), set);
  e.append(...inside);
  return e;
}

// In a tree that was read, a number is its digits behind a NUL, so that 60.50 stays 60.50.
const numbersAndTexts = /"(?:[^"\\]|\\.)*"|-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?/g;
export const read = (json) => JSON.parse(json.replace(numbersAndTexts, (m) => (m[0] === '"' ? m : `"\\u0000${m}"`)));
export const write = (tree) => JSON.stringify(tree).replace(/"\\u0000([-+.\deE]+)"/g, "$1");
export const isNumber = (v) => typeof v === "string" && v[0] === "\0";
export const bare = (v) => (isNumber(v) ? v.slice(1) : v);

// number reads a number as people type it, undefined if it is none.
export function number(typed) {
  let s = typed.trim().replace("−", "-").replace(/^\+/, "");
  if (s.split(",").length === 2 && !s.includes(".")) s = s.replace(",", ".");
  const m = /^(-?)0*(\d*)(?:\.(\d*))?$/.exec(s);
  if (!m || !/\d/.test(s)) return undefined;
  return "\0" + m[1] + (m[2] || "0") + (m[3] ? "." + m[3] : "");
}

// Refusal is an answer that is no success; status 0 is none at all, and -1 a key that cannot be one.
export class Refusal extends Error {
  constructor(status, problem = {}) {
    super("refused");
    Object.assign(this, { status, problem });
  }
}

// crypto.randomUUID is missing where the page came over plain http; this is not.
const fresh = () => [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("");
// A request that was not done, or got no answer, is repeated under the key that it had, so that it counts once.
const unanswered = new Map();

const keyField = document.getElementById("key");

// call asks the service as the holder of the key and gives the answer as a tree with its tag.
export async function call(method, path, tree, tag) {
  const key = keyField.value.trim();
  if (!/^[\x21-\x7e]+$/.test(key)) throw new Refusal(-1);
  const headers = { Accept: "application/json", Authorization: "Bearer " + key };
  const body = tree === undefined ? undefined : write(tree);
  const what = [method, path, body, key].join("\n");
  if (body !== undefined) headers["Content-Type"] = "application/json";
  if (tag) headers["If-Match"] = tag;
  if (method === "POST") headers["Idempotency-Key"] = unanswered.get(what) ?? unanswered.set(what, fresh()).get(what);
  let answer, text;
  try {
    answer = await fetch(path, { method, headers, body, credentials: "omit", cache: "no-store", redirect: "error" });
    text = await answer.text();
  } catch {
    throw new Refusal(0);
  }
  let said = {};
  try {
    said = read(text);
  } catch { /* an answer of something in between */ }
  if (!answer.ok) throw new Refusal(answer.status, said);
  unanswered.delete(what);
  return { said, tag: answer.headers.get("ETag") };
}

const outcome = document.getElementById("outcome");

// tell says how an act came out, and leads the reader there.
export function tell(good, ...lines) {
  outcome.className = good ? "done" : "refused";
  outcome.replaceChildren(...lines.map((line) => (typeof line === "string" ? el("p", { textContent: line }) : line)));
  outcome.focus();
}

// mark says something at a field, "" takes it back.
export function mark(input, box, ...lines) {
  box.replaceChildren(...lines.map((line) => el("p", { textContent: line })));
  if (input && input.type !== "radio") lines.length ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid");
}

const keyCheck = document.getElementById("key-check");
keyField.addEventListener("input", () => mark(keyField, keyCheck));
addEventListener("pagehide", () => { keyField.value = ""; });

// refused puts a refusal into words: at the key, at the fields that at finds, and in the outcome.
function refused(why, at) {
  if (!(why instanceof Refusal)) throw why;
  const { status, problem } = why;
  const known = status === -1 ? "no_key" : words.has("say." + status) ? String(status) : "other";
  const lines = [say(known)];
  const errors = problem.errors ?? [];
  if (problem.detail && !errors.length) lines.push(people(problem.detail));
  for (const e of errors) {
    const text = e.code === "REQUIRED" ? say("needed") : people(e.detail); // by no name of the contract
    const placed = e.pointer !== undefined && at ? at(e.pointer, text) : undefined;
    lines.push(placed ? placed + ": " + text : text);
  }
  if (status === -1 || status === 401) mark(keyField, keyCheck, say(known));
  tell(false, ...lines);
  if (status === -1 || status === 401) keyField.focus();
}

let busy = false;
// press lets a button do an act, one at a time, and says what comes of it.
export function press(id, act, at) {
  document.getElementById(id).addEventListener("click", () => attempt(act, at));
}

export async function attempt(act, at) {
  if (busy) return;
  busy = true;
  document.body.setAttribute("aria-busy", "true");
  try {
    await act();
  } catch (why) {
    refused(why, at);
  } finally {
    busy = false;
    document.body.removeAttribute("aria-busy");
  }
}

// list shows what stands at a path: a button for each record, which opens it, and one for the next page. It
// gives how many the first page has, and a sentence if there are more.
export async function list(path, text, open) {
  const box = document.getElementById("list");
  const rows = (records) => records.map((r) => {
    const button = el("button", { type: "button", textContent: text(r) });
    button.addEventListener("click", () => open(r.id));
    return el("li", {}, button);
  });
  const more = (next) => {
    const row = el("li", {}, el("button", { type: "button", textContent: say("more") }));
    row.firstChild.addEventListener("click", () => attempt(async () => {
      const { said } = await call("GET", next);
      if (!row.isConnected) return; // listed anew meanwhile
      const added = rows(said.items);
      row.replaceWith(...added, ...(said.next ? [more(said.next)] : []));
      added[0]?.firstChild.focus();
    }));
    return row;
  };
  const { said } = await call("GET", path);
  box.replaceChildren(...rows(said.items), ...(said.next ? [more(said.next)] : []));
  return { count: said.items.length, rest: said.next ? [say("first_shown", said.items.length)] : [] };
}

document.getElementById("keep").hidden = false;
