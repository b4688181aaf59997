// usage: node bench.mjs CORPUS FACTS SECONDS
//   CHECK_CORPUS_TO=corpus.ndjson build/tests/bench/check_bench
//   node bench.mjs corpus.ndjson ../../../../profiles/r4/types.facts 3
// Prints "invariants N": Observations a second, text in, all answers out, processor time of one thread.
// The work is a part of what check_bench does: no structure, no bindings, no profiles and no JSON
// schema, only the invariants that R4 states for an Observation and the types in it, precompiled.
import { readFileSync } from 'node:fs';
import fhirpath from 'fhirpath';
import model from 'fhirpath/fhir-context/r4/index.js';

const [file, facts, seconds] = process.argv.slice(2);
const corpus = readFileSync(file, 'utf8').split('\n').filter((line) => line);
const published = new Map(readFileSync(facts, 'utf8').split('\n')
  .filter((line) => line.startsWith('invariant '))
  .map((line) => line.match(/^invariant (\S+) \S+ \S+ (.*)$/))
  .map(([, key, expression]) => [key, expression]));

// Where each rule is evaluated; an empty answer counts as no answer here, which favours the peer.
const places = {
  'dom-2': '$this', 'dom-3': '$this', 'dom-4': '$this', 'dom-5': '$this', 'dom-6': '$this',
  'obs-6': '$this', 'obs-7': '$this', 'obs-3': 'referenceRange', 'ele-1': 'descendants()',
  'ref-1': '(subject | performer)', 'qty-3': 'value.ofType(Quantity)',
};
const rules = Object.entries(places).map(([key, place]) => {
  // The functions for people's traces cost time and say nothing.
  const expression = published.get(key).replace(/\.trace\('[a-z]+'(, id)?\)/g, '');
  return fhirpath.compile(`${place}.all(${expression})`, model);
});

const check = (text) => {
  const resource = JSON.parse(text);
  let failed = 0;
  for (const rule of rules) failed += rule(resource, { rootResource: resource })[0] === false ? 1 : 0;
  return failed;
};
let failures = 0;
for (const text of corpus.slice(0, 200)) failures += check(text) > 1 ? 1 : 0;  // dom-6 is advice
if (failures) {
  console.error(`the peer finds ${failures} of these resources wrong`);
  process.exit(1);
}
const start = process.cpuUsage();
const until = Date.now() + 1000 * Number(seconds);
let done = 0;
while (Date.now() < until) {
  check(corpus[done % corpus.length]);
  done += 1;
}
const used = process.cpuUsage(start);
console.log(`invariants ${Math.round(done / ((used.user + used.system) / 1e6))}`);
