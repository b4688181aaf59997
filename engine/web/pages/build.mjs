// Bundles the pages: node build.mjs WORK PROFILES ESBUILD
// WORK holds node_modules; the files go to WORK/out, each beside its gzip. PROFILES is profiles/session, whose codes and
// displays the pages show, so that no word of the model is written twice.
import { execFileSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { gzipSync } from 'node:zlib';

const [work, profiles, esbuild] = process.argv.slice(2).map((path) => resolve(path));
const here = dirname(fileURLToPath(import.meta.url));
const out = join(work, 'out');
const made = join(work, 'made'); // found beside node_modules: import 'generated/codes.json'

function codes() {
  const sets = {};
  for (const file of readdirSync(profiles).sort()) {
    const name = /^ValueSet-session-(.*)\.json$/.exec(file)?.[1];
    if (name) {
      const set = JSON.parse(readFileSync(join(profiles, file), 'utf8'));
      sets[name] = set.compose.include.flatMap((one) => (one.concept ?? []).map((c) => [c.code, c.display]));
    }
  }
  return sets;
}

function bundle(entry, more = []) {
  return execFileSync(esbuild, [
    join(here, entry), '--bundle', '--minify', '--format=iife', '--legal-comments=none', '--log-level=warning',
    '--target=es2022,chrome109,firefox115,safari16', '--jsx=automatic', '--jsx-import-source=preact',
    `--tsconfig=${join(here, 'tsconfig.json')}`, ...more,
  ], { encoding: 'utf8', maxBuffer: 1 << 26, env: { ...process.env, NODE_PATH: `${join(work, 'node_modules')}:${made}` } });
}

mkdirSync(join(made, 'generated'), { recursive: true });
writeFileSync(join(made, 'generated/codes.json'), JSON.stringify(codes()));

const files = {
  'index.html': readFileSync(join(here, 'static/index.html'), 'utf8'),
  'manifest.webmanifest': readFileSync(join(here, 'static/manifest.webmanifest'), 'utf8'),
  'icon.svg': readFileSync(join(here, 'static/icon.svg'), 'utf8'),
  'page.css': bundle('static/round.css'),
  'page.js': bundle('src/main.tsx'),
  'desk.html': readFileSync(join(here, 'static/desk.html'), 'utf8'),
  'sheet.html': readFileSync(join(here, 'static/sheet.html'), 'utf8'),
  'sheet.css': bundle('static/sheet.css'),
  'sheet.js': bundle('src/sheet/main.tsx'),
  'desk.css': bundle('static/desk.css'),
  'desk.js': bundle('src/desk/main.tsx'),
};
// The worker keeps one copy of the pages per build, under this name.
const edition = createHash('sha256').update(Object.values(files).join('\0')).digest('hex').slice(0, 16);
files['worker.js'] = bundle('src/worker.ts', [`--define:EDITION="${edition}"`]);

mkdirSync(out, { recursive: true });
for (const [name, text] of Object.entries(files)) {
  writeFileSync(join(out, name), text);
  writeFileSync(join(out, `${name}.gz`), gzipSync(text, { level: 9 }));
}
