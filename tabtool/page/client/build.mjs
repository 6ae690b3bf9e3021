// Builds the page into tabtool/page/static: node tabtool/page/client/build.mjs [--check]
// Packages are installed in a folder of their own outside the sources; --check builds and
// compares with what is there, byte for byte.
import { execFileSync } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const target = join(here, "..", "static");
const check = process.argv.includes("--check");
const work = mkdtempSync(join(tmpdir(), "tabtool-page-"));
try {
  cpSync(join(here, "package.json"), join(work, "package.json"));
  cpSync(join(here, "src"), join(work, "src"), { recursive: true });
  execFileSync("npm", ["install", "--no-package-lock", "--ignore-scripts", "--no-audit", "--no-fund", "--silent"], {
    cwd: work,
    stdio: "inherit",
  });
  checkVersions(work);
  const out = join(work, "out");
  mkdirSync(out);
  const { buildSync } = createRequire(join(work, "package.json"))("esbuild");
  const common = { bundle: true, minify: true, charset: "utf8", legalComments: "none", absWorkingDir: work };
  buildSync({ ...common, entryPoints: ["src/main.js"], format: "esm", target: "es2022", outfile: "out/page.js" });
  buildSync({ ...common, entryPoints: ["src/page.css"], target: ["chrome123", "firefox120", "safari17.5"], outfile: "out/page.css" });
  for (const name of ["index.html", "icon.svg"]) cpSync(join(work, "src", name), join(out, name));
  writeFileSync(join(out, "LICENSES.txt"), licences(work));
  const names = readdirSync(out).sort();
  for (const name of names) {
    const built = readFileSync(join(out, name));
    const place = join(target, name);
    if (check) {
      if (!existsSync(place) || !readFileSync(place).equals(built)) {
        console.error(`${name} differs from what its sources build to; run node tabtool/page/client/build.mjs`);
        process.exitCode = 1;
      }
    } else {
      mkdirSync(target, { recursive: true });
      writeFileSync(place, built);
    }
    console.log(`${name} ${built.length}`);
  }
} finally {
  rmSync(work, { recursive: true, force: true });
}

// Every package installed must be named in package.json, so that no version is left open.
function checkVersions(work) {
  const { dependencies, devDependencies } = JSON.parse(readFileSync(join(work, "package.json"), "utf8"));
  const named = { ...dependencies, ...devDependencies };
  for (const name of installed(work)) {
    if (name.startsWith("@esbuild/")) continue; // esbuild itself names the version of its binary
    const { version } = JSON.parse(readFileSync(join(work, "node_modules", name, "package.json"), "utf8"));
    if (named[name] !== version) throw new Error(`${name} ${version} is installed, package.json says ${named[name]}`);
  }
}

function installed(work) {
  const root = join(work, "node_modules");
  return readdirSync(root)
    .filter((name) => !name.startsWith("."))
    .flatMap((name) => (name.startsWith("@") ? readdirSync(join(root, name)).map((part) => `${name}/${part}`) : [name]))
    .sort();
}

function licences(work) {
  const { dependencies } = JSON.parse(readFileSync(join(work, "package.json"), "utf8"));
  const texts = Object.keys(dependencies).map((name) => {
    const folder = join(work, "node_modules", name);
    const file = readdirSync(folder).find((entry) => /^licen[sc]e/i.test(entry));
    if (!file) throw new Error(`${name} carries no licence`);
    return `${name} ${dependencies[name]}\n\n${readFileSync(join(folder, file), "utf8").trim()}\n`;
  });
  return `page.js contains these packages.\n\n${texts.join("\n\n")}`;
}
