// Builds everything the browser gets into built/, and built/manifest.json with the hashed names.
// PYTHON names the interpreter that writes the event contract (default: python3).
import { execFileSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { basename, dirname, extname, join } from "node:path";
import { fileURLToPath } from "node:url";
import { gzipSync } from "node:zlib";
import * as esbuild from "esbuild";
import { compile } from "json-schema-to-typescript";

const web = dirname(fileURLToPath(import.meta.url));
const root = join(web, "..", "..");
const source = join(web, "src");
const generated = join(source, "generated");
const built = join(web, "built");

await writeContract();
rmSync(built, { recursive: true, force: true });
mkdirSync(built);
const manifest = { ...(await bundle()), ...copyHashed() };
writeFileSync(join(built, "manifest.json"), `${JSON.stringify(manifest, null, 2)}\n`);
for (const [name, file] of Object.entries(manifest)) {
  const bytes = readFileSync(join(built, file));
  console.log(
    `${name.padEnd(20)} ${kb(bytes.length)} kB, ${kb(gzipSync(bytes).length)} kB gzipped`,
  );
}

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

/** The scripts and the style sheet; returns the hashed name of each entry. */
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
  for (const [file, { entryPoint }] of Object.entries(result.metafile.outputs)) {
    if (entryPoint === undefined || extname(file) === ".map") continue;
    const name = basename(file);
    const [stem] = name.split(".");
    if (["crew", "page", "site"].includes(stem)) names[`${stem}${extname(name)}`] = name;
  }
  return names;
}

/** Files that go out as they are, under a name that changes with their bytes. */
function copyHashed() {
  const reader = fileURLToPath(import.meta.resolve("zxing-wasm/reader/zxing_reader.wasm"));
  const names = {};
  for (const file of [join(source, "icons.svg"), join(source, "mark.svg"), reader]) {
    const bytes = readFileSync(file);
    const hash = createHash("sha256").update(bytes).digest("hex").slice(0, 8).toUpperCase();
    const stem = basename(file, extname(file));
    const name = `${stem}.${hash}${extname(file)}`;
    writeFileSync(join(built, name), bytes);
    names[basename(file)] = name;
  }
  return names;
}

function kb(bytes) {
  return (bytes / 1000).toFixed(1).padStart(6);
}
