// usage: node bench.mjs CORPUS FACTS SECONDS
//   CHECK_CORPUS_TO=corpus.ndjson build/tests/bench/check_bench
//   node bench.mjs corpus.ndjson ../../../../profiles/r4/types.facts 3
// Prints Observations a second, text in, all answers out, processor time of one thread:
//   "schema N"      ajv on a JSON schema of the resource's structure
//   "invariants N"  the invariants that R4 states for an Observation and the types in it, precompiled
//   "both N"        the two together
// The work is a part of what check_bench does: no bindings, no profiles, no references.
import { readFileSync } from 'node:fs';
import Ajv from 'ajv';
import fhirpath from 'fhirpath';
import model from 'fhirpath/fhir-context/r4/index.js';
import { schemaOf } from './schema.mjs';

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

const validate = new Ajv({ strict: false }).compile(schemaOf('Observation', facts));
const broken = (resource) => {
  let failed = 0;
  for (const rule of rules) failed += rule(resource, { rootResource: resource })[0] === false ? 1 : 0;
  return failed;
};
const works = {
  schema: (text) => (validate(JSON.parse(text)) ? 0 : 1),
  invariants: (text) => (broken(JSON.parse(text)) > 1 ? 1 : 0),  // dom-6 is advice
  both: (text) => {
    const resource = JSON.parse(text);
    return validate(resource) && broken(resource) <= 1 ? 0 : 1;
  },
};
const wrong = JSON.stringify({ ...JSON.parse(corpus[0]), statuss: 'final' });
for (const [name, work] of Object.entries(works)) {
  const failures = corpus.slice(0, 200).reduce((sum, text) => sum + work(text), 0);
  if (failures || (name !== 'invariants' && !work(wrong))) {
    console.error(`${name}: the peer finds ${failures} of these resources wrong, or a wrong one right`);
    process.exit(1);
  }
  const start = process.cpuUsage();
  const until = Date.now() + 1000 * Number(seconds);
  let done = 0;
  while (Date.now() < until) {
    work(corpus[done % corpus.length]);
    done += 1;
  }
  const used = process.cpuUsage(start);
  console.log(`${name} ${Math.round(done / ((used.user + used.system) / 1e6))}`);
}
