#include "engine/web/static_texts.h"

#include <algorithm>
#include <iterator>

namespace engine::web {
namespace {

constexpr std::string_view kPage = R"html(<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Sessions on their way into the chart</title>
<link rel="stylesheet" href="/page.css">
<script src="/page.js" defer></script>
</head>
<body>
<header>
<h1>Sessions on their way into the chart</h1>
<p id="line" role="status">connecting</p>
</header>
<main>
<section aria-labelledby="sums"><h2 id="sums" class="quiet">Now</h2><ul id="counts"></ul></section>
<section aria-labelledby="waiting">
<h2 id="waiting">Needs a person</h2>
<ol id="held"></ol>
<p id="none-held">Nothing is held.</p>
</section>
<section aria-labelledby="latest">
<h2 id="latest">Latest</h2>
<ol id="rows"></ol>
<p id="none">No session has come in yet.</p>
</section>
</main>
<footer>Chartferry supports and never replaces local orders, protocols and licensed judgement.
It is not a medical device.</footer>
</body>
</html>
)html";

constexpr std::string_view kStyle =
    R"css(:root { color-scheme: light dark; --ink: #16232b; --paper: #f6f4ef;
  --card: #ffffff; --rule: #d5d0c4; --good: #1d6b4f; --wait: #705200; --stop: #9c2f1f; }
@media (prefers-color-scheme: dark) { :root { --ink: #e8e4da; --paper: #12191d; --card: #1b252b;
  --rule: #35434b; --good: #7fd1ae; --wait: #e3bd62; --stop: #f09a86; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 46rem; padding: 1rem; font: 1rem/1.45 system-ui, sans-serif;
  color: var(--ink); background: var(--paper); }
h1 { font-size: 1.25rem; margin: 0; }
h2 { font-size: 1rem; margin: 1.5rem 0 .5rem; }
.quiet { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
#line { margin: .25rem 0 0; font-size: .875rem; }
ul, ol { list-style: none; margin: 0; padding: 0; }
#counts { display: flex; flex-wrap: wrap; gap: .5rem; margin-top: 1rem; }
#counts li { background: var(--card); border: 1px solid var(--rule); border-radius: .5rem;
  padding: .5rem .75rem; min-width: 5.5rem; }
#counts b { display: block; font-size: 1.5rem; font-variant-numeric: tabular-nums; }
#rows li, #held li { background: var(--card); border: 1px solid var(--rule);
  border-left: .375rem solid var(--rule); border-radius: .375rem; padding: .5rem .75rem;
  margin-bottom: .375rem; overflow-wrap: anywhere; }
.landed { border-left-color: var(--good) !important; }
.held { border-left-color: var(--stop) !important; }
.accepted, .checked, .dispatched { border-left-color: var(--wait) !important; }
.state { font-weight: 600; }
.landed .state { color: var(--good); }
.held .state { color: var(--stop); }
.id { font: .8125rem/1.4 ui-monospace, monospace; opacity: .8; }
.why { margin: .125rem 0 0; }
time { font-variant-numeric: tabular-nums; }
footer { margin-top: 2rem; font-size: .8125rem; opacity: .85; }
)css";

constexpr std::string_view kScript = R"js("use strict";
const legs = new Map();
const newest = [];
const words = { accepted: "taken in", checked: "ready to go", dispatched: "on its way",
  landed: "in the chart", held: "held", superseded: "carried by a later one", withdrawn: "given up" };
const order = ["accepted", "checked", "dispatched", "landed", "held"];
const next = { accepted: "accepted", checked: "checked", held: "held", dispatched: "dispatched",
  answered: "checked", landed: "landed", released: "checked", remapped: "accepted",
  withdrawn: "withdrawn" };
const $ = id => document.getElementById(id);

function put(session, revision, target, change) {
  const key = session + "/" + revision + "/" + target;
  let leg = legs.get(key);
  if (!leg) {
    leg = { key, session, revision, target, received: "" };
    legs.set(key, leg);
    newest.unshift(key);
    while (newest.length > 300) legs.delete(newest.pop());
  }
  Object.assign(leg, change);
}

function row(leg) {
  const item = document.createElement("li");
  item.className = leg.state;
  const line = document.createElement("div");
  const state = document.createElement("span");
  state.className = "state";
  state.textContent = words[leg.state] || leg.state;
  const time = document.createElement("time");
  time.dateTime = leg.received;
  time.textContent = leg.received ? new Date(leg.received).toLocaleTimeString() : "";
  line.append(state, " ", time);
  const id = document.createElement("div");
  id.className = "id";
  id.textContent = leg.session + " · revision " + leg.revision + " → " + leg.target;
  item.append(line, id);
  if (leg.reasonText && leg.state !== "landed") {
    const why = document.createElement("p");
    why.className = "why";
    why.textContent = leg.reasonText;
    item.append(why);
  }
  return item;
}

let drawn = false;
function draw() {
  if (drawn) return;
  drawn = true;
  requestAnimationFrame(() => {
    drawn = false;
    const all = newest.map(key => legs.get(key));
    const held = all.filter(leg => leg.state === "held");
    $("held").replaceChildren(...held.map(row));
    $("none-held").hidden = held.length > 0;
    $("rows").replaceChildren(...all.slice(0, 100).map(row));
    $("none").hidden = all.length > 0;
    $("counts").replaceChildren(...order.map(state => {
      const item = document.createElement("li");
      const number = document.createElement("b");
      number.textContent = all.filter(leg => leg.state === state).length;
      item.append(number, words[state]);
      return item;
    }));
  });
}

async function load() {
  const answer = await fetch("/traffic");
  for (const one of (await answer.json()).reverse()) {
    for (const t of one.targets) {
      put(one.session, one.revision, t.target, { received: one.received, state: t.state,
        reasonText: t.reasonText || "" });
    }
  }
  draw();
}

function listen() {
  const events = new EventSource("/events");
  events.onopen = () => { $("line").textContent = "live"; load(); };
  events.onerror = () => { $("line").textContent = "the engine does not answer; trying again"; };
  for (const kind of Object.keys(next)) {
    events.addEventListener(kind, event => {
      const one = JSON.parse(event.data);
      if (kind === "accepted") { load(); return; }
      put(one.session, one.revision, one.target, { state: next[kind], reasonText: one.reasonText || "" });
      draw();
    });
  }
}
listen();
)js";

constexpr std::string_view kMetadata =
    R"json({"resourceType":"CapabilityStatement","status":"active","date":"2026-11-25","kind":"instance","software":{"name":"chartferry"},"implementation":{"description":"Takes therapy sessions in and lands them in a FHIR record server"},"fhirVersion":"4.0.1","format":["application/fhir+json"],"rest":[{"mode":"client","documentation":"Sends transactions of Observation, Procedure and Provenance to record servers","interaction":[{"code":"transaction"}]}]})json";

constexpr StaticText kTexts[] = {
    {"", "text/html; charset=utf-8", kPage},
    {"page.css", "text/css; charset=utf-8", kStyle},
    {"page.js", "text/javascript; charset=utf-8", kScript},
    {"metadata", "application/fhir+json", kMetadata},
};

}  // namespace

const StaticText* static_text(std::string_view path) {
  static const StaticText openapi = {"openapi.json", "application/json", openapi_text()};
  if (path == openapi.path) {
    return &openapi;
  }
  const auto* found = std::find_if(std::begin(kTexts), std::end(kTexts),
                                   [&](const StaticText& text) { return text.path == path; });
  return found == std::end(kTexts) ? nullptr : found;
}

}  // namespace engine::web
