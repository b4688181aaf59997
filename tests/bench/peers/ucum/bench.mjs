// usage: node bench.mjs CONVERSIONS SECONDS
// Prints one line a kind: "known N" and "fresh N", conversions a second. The work is that of ucum_bench.cc: the known
// kind repeats the conversions of the file; the fresh one makes every code new by an annotation never seen before.
import { readFileSync } from 'node:fs';
import ucum from '@lhncbc/ucum-lhc';

const utils = ucum.UcumLhcUtils.getInstance();
const [file, seconds] = process.argv.slice(2);
const conversions = readFileSync(file, 'utf8').split('\n')
  .filter((line) => line && !line.startsWith('#'))
  .map((line) => line.split('\t'))
  .map(([value, from, to]) => ({ value: Number(value), from, to }));

for (const { value, from, to } of conversions) {
  const answer = utils.convertUnitTo(from, value, to);
  if (answer.status !== 'succeeded') {
    console.error(`the peer refuses ${value} ${from} -> ${to}: ${answer.msg}`);
    process.exit(1);
  }
}

let sink = 0;
let serial = 0;
const kinds = {
  known: () => {
    for (const { value, from, to } of conversions) sink += utils.convertUnitTo(from, value, to).toVal;
  },
  fresh: () => {
    for (const { value, from, to } of conversions) {
      serial += 1;
      sink += utils.convertUnitTo(`${from}{a${serial}}`, value, `${to}{b${serial}}`).toVal;
    }
  },
};
for (const [kind, round] of Object.entries(kinds)) {
  const warm = Date.now() + 300;
  while (Date.now() < warm) round();
  const start = process.cpuUsage();
  const until = Date.now() + 1000 * Number(seconds);
  let done = 0;
  while (Date.now() < until) {
    round();
    done += conversions.length;
  }
  const used = process.cpuUsage(start);
  console.log(`${kind} ${Math.round(done / ((used.user + used.system) / 1e6))}`);
}
if (!Number.isFinite(sink)) process.exit(1);
