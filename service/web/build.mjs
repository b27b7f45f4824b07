// Builds everything the browser gets into built/, and built/manifest.json with the hashed names.
// PYTHON names the interpreter that writes the event contract (default: python3).
import { execFileSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { basename, dirname, extname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import { initWasm, Resvg } from "@resvg/resvg-wasm";
import * as esbuild from "esbuild";
import { compile } from "json-schema-to-typescript";

const web = dirname(fileURLToPath(import.meta.url));
const root = join(web, "..", "..");
const source = join(web, "src");
const generated = join(source, "generated");
const built = join(web, "built");

const GROUND = "#0d2b3a"; // The mark's own.
const ICON_SIZES = [192, 512];
const MEDIA_TYPES = {
  ".css": "text/css",
  ".js": "text/javascript",
  ".png": "image/png",
  ".svg": "image/svg+xml",
  ".wasm": "application/wasm",
  ".webmanifest": "application/manifest+json",
};

await writeContract();
rmSync(built, { recursive: true, force: true });
mkdirSync(built);
const { names, code } = await bundle();
const manifest = { ...names, ...copyHashed(), ...(await drawIcons()) };
writeFileSync(join(built, "manifest.json"), `${JSON.stringify(manifest, null, 2)}\n`);
writeAppManifest(manifest);
await bundleWorker([...new Set([...code, ...Object.values(manifest)])].sort());
reportSizes([...new Set([...code, "worker.js", "tag-worker.js", ...Object.values(manifest)])]);

/** Types and words from the Python contract, so that they are written once. */
async function writeContract() {
  mkdirSync(generated, { recursive: true });
  const file = join(generated, "contract.json");
  execFileSync(process.env.PYTHON ?? "python3", ["-m", "service.contract", file], {
    cwd: root,
    stdio: "inherit",
  });
  const { schema, ...words } = JSON.parse(readFileSync(file, "utf8"));
  // A body is told apart by its `type`, so none goes without, though the schema gives a default.
  for (const body of Object.values(schema.$defs)) {
    if (body.properties?.type?.const) body.required = ["type", ...(body.required ?? [])];
  }
  const types = await compile(schema, "Contract", {
    additionalProperties: false,
    bannerComment: "// Generated from shared/events.py by build.mjs.",
    format: false,
    ignoreMinAndMaxItems: true,
  });
  writeFileSync(join(generated, "contract.ts"), types);
  writeFileSync(join(generated, "vocabulary.json"), JSON.stringify(words));
}

/** The scripts and the style sheet; returns the hashed name of each entry, and of every file. */
async function bundle() {
  const result = await esbuild.build({
    absWorkingDir: web,
    entryPoints: {
      crew: "src/crew/main.tsx",
      page: "src/page.ts",
      site: "src/styles/site.css",
    },
    outdir: built,
    entryNames: "[name].[hash]",
    chunkNames: "[name].[hash]",
    bundle: true,
    splitting: true,
    format: "esm",
    target: ["es2022", "safari16"],
    jsx: "automatic",
    jsxImportSource: "preact",
    loader: { ".svg": "text" },
    minify: true,
    sourcemap: true,
    legalComments: "linked",
    metafile: true,
    logLevel: "warning",
  });
  const names = {};
  const code = [];
  for (const [file, { entryPoint }] of Object.entries(result.metafile.outputs)) {
    if (![".js", ".css"].includes(extname(file))) continue;
    const name = basename(file);
    code.push(name);
    const [stem] = name.split(".");
    if (entryPoint !== undefined && ["crew", "page", "site"].includes(stem)) {
      names[`${stem}${extname(name)}`] = name;
    }
  }
  return { names, code };
}

/** Files that go out as they are, under a name that changes with their bytes. */
function copyHashed() {
  const reader = fileURLToPath(import.meta.resolve("zxing-wasm/reader/zxing_reader.wasm"));
  const files = [join(source, "icons.svg"), join(source, "mark.svg"), reader];
  return Object.fromEntries(
    files.map((file) => [basename(file), writeHashed(basename(file), readFileSync(file))]),
  );
}

/** The mark as the pictures that home screens take, as it is and cut to any shape ("maskable"). */
async function drawIcons() {
  await initWasm(readFileSync(fileURLToPath(import.meta.resolve("@resvg/resvg-wasm/index_bg.wasm"))));
  const mark = readFileSync(join(source, "mark.svg"), "utf8");
  // Only the middle four fifths are sure to be seen (W3C Web Application Manifest, "maskable").
  const maskable = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 40">
    <rect width="40" height="40" fill="${GROUND}"/>
    ${mark.replace("<svg ", '<svg x="4" y="4" width="32" height="32" ')}
  </svg>`;
  const names = {};
  for (const [stem, drawing] of Object.entries({ mark, maskable })) {
    for (const size of ICON_SIZES) {
      const drawn = new Resvg(drawing, { fitTo: { mode: "width", value: size } }).render();
      const name = `${stem}-${size}.png`;
      names[name] = writeHashed(name, drawn.asPng());
    }
  }
  return names;
}

/** What a phone needs to know to put the crew's page on its home screen. */
function writeAppManifest(names) {
  const icons = Object.entries({ mark: "any", maskable: "maskable" }).flatMap(([stem, purpose]) =>
    ICON_SIZES.map((size) => ({
      src: `/static/${names[`${stem}-${size}.png`]}`,
      sizes: `${size}x${size}`,
      type: "image/png",
      purpose,
    })),
  );
  const app = {
    id: "/crew/",
    name: "Lagan crew",
    short_name: "Lagan",
    description: "Tag, photograph and record pieces, with or without a network.",
    lang: "en",
    start_url: "/crew/",
    scope: "/crew/",
    display: "standalone",
    background_color: GROUND,
    theme_color: GROUND,
    icons,
  };
  writeFileSync(join(built, "app.webmanifest"), `${JSON.stringify(app, null, 2)}\n`);
}

/** The service worker, with the list of what it keeps; the service adds the page that it draws. */
async function bundleWorker(files) {
  const kept = [
    ...files.map((file) => keptFile(`/static/${file}`, file)),
    keptFile("/crew/app.webmanifest", "app.webmanifest"),
  ];
  await esbuild.build({
    absWorkingDir: web,
    entryPoints: ["src/worker.ts", "src/tag-worker.ts"],
    outdir: built,
    bundle: true,
    format: "iife",
    target: ["es2022", "safari16"],
    define: { BUILT_FILES: JSON.stringify(kept) },
    minify: true,
    logLevel: "warning",
  });
}

function keptFile(path, file) {
  const digest = createHash("sha256").update(readFileSync(join(built, file))).digest("base64");
  return { path, type: MEDIA_TYPES[extname(file)], integrity: `sha256-${digest}` };
}

function writeHashed(file, bytes) {
  const hash = createHash("sha256").update(bytes).digest("hex").slice(0, 8).toUpperCase();
  const name = `${basename(file, extname(file))}.${hash}${extname(file)}`;
  writeFileSync(join(built, name), bytes);
  return name;
}

function reportSizes(files) {
  let code = 0;
  for (const file of files) {
    const bytes = readFileSync(join(built, file));
    const zipped = gzipSync(bytes).length;
    if ([".js", ".css"].includes(extname(file))) code += zipped;
    console.log(`${file.padEnd(28)} ${kb(bytes.length)} kB, ${kb(zipped)} kB gzipped`);
  }
  console.log(`${"scripts and styles".padEnd(28)} ${" ".repeat(11)}${kb(code)} kB gzipped`);
}

function kb(bytes) {
  return (bytes / 1000).toFixed(1).padStart(6);
}
