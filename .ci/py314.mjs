// The experta back end's tests on Python 3.14, in the interpreter that the npm package pyodide brings.
// usage: node py314.mjs REPOSITORY WHEELS  (pyodide installed in a node_modules beside this file's copy)
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { loadPyodide } from "pyodide";

const [repository, wheels] = process.argv.slice(2);
const python = await loadPyodide();
for (const name of readdirSync(wheels).filter((name) => name.endsWith(".whl"))) {
  const wheel = new Uint8Array(readFileSync(join(wheels, name)));
  python.unpackArchive(wheel, "wheel");
}
python.FS.mkdirTree("/repository");
python.FS.mount(python.FS.filesystems.NODEFS, { root: repository }, "/repository");
const failed = python.runPython(readFileSync(join(repository, ".ci", "py314.py"), "utf8"));
process.exit(failed);
