// What the bench pages do better with a script. Everything works without it.
"use strict";

const form = document.querySelector("form[data-check-at], form[data-short]");

// lengthInMillimetre reads a length as it is typed, or gives NaN where only the server can read it.
function lengthInMillimetre(input) {
  const field = input.closest(".field");
  const own = field.querySelector("select");
  const with_ = (own && own.value) || (document.getElementById("with") || {}).value || "mm";
  const v = Number(input.value.trim().replace(",", "."));
  return with_.startsWith("inch") ? v * 25.4 : v;
}

// range says at once when a dimension lies outside what such motors usually have.
function range(input) {
  const box = input.closest(".field").querySelector(".check");
  const v = lengthInMillimetre(input), low = Number(input.dataset.low), high = Number(input.dataset.high);
  const odd = input.value.trim() !== "" && Number.isFinite(v) && (v < low || v > high);
  box.textContent = odd ? input.dataset.odd : "";
}

// show marks in the drawings the dimension that is being asked.
function show(name) {
  for (const g of document.querySelectorAll(".guide [data-dim]")) {
    const names = [g.dataset.dim, ...(g.dataset.also || "").split(" ")];
    g.classList.toggle("on", names.includes(name));
  }
}

// keep puts what was typed so far into the address, so that a page that is loaded again, or gone back to, still holds it.
function keep() {
  const query = new URLSearchParams(answers()).toString();
  history.replaceState(null, "", query ? form.action + "?" + query + "&edit=1" : "/");
}

let waiting, asked;
// check lets the server look the readings over while they are typed, and puts what it says at the fields.
async function check() {
  const query = new URLSearchParams(answers()).toString();
  if (query === asked) return;
  asked = query;
  try {
    const answer = await fetch(form.dataset.checkAt + "?" + query, { headers: { Accept: "text/html" } });
    if (!answer.ok || asked !== query) return;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const said = {};
    for (const li of page.querySelectorAll("li[data-field]")) (said[li.dataset.field] ||= []).push(li.textContent);
    for (const box of form.querySelectorAll(".check")) {
      const text = (said[box.dataset.check] || []).join(" ");
      if (box.textContent !== text) box.textContent = text;
    }
  } catch { /* without a connection the form still works */ }
}

// answers lists what was filled in, so that the address of a search stays short.
function answers() {
  return [...new FormData(form)].filter(([name, value]) => {
    if (value.trim() === "") return false;
    const measured = name.endsWith(".with") ? form.elements[name.slice(0, -5)] : null;
    return !measured || measured.value.trim() !== "";
  });
}

if (form && form.dataset.checkAt) {
  form.addEventListener("focusin", (e) => show((e.target.closest(".field") || { dataset: {} }).dataset.field));
  form.addEventListener("input", (e) => {
    asked = undefined; // an answer about what stood here before comes too late
    if (e.target.dataset.low) range(e.target);
    clearTimeout(waiting);
    waiting = setTimeout(() => { keep(); check(); }, 400);
  });
}
if (form) {
  form.addEventListener("submit", (e) => {
    e.preventDefault();
    clearTimeout(waiting);
    if (form.dataset.checkAt) keep();
    location.href = form.action + "?" + new URLSearchParams(answers());
  });
}
for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
for (const box of document.querySelectorAll(".faultbox")) box.focus();
