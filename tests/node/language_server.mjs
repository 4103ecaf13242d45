// Asks a general TOML language server (Taplo, npm package @taplo/lsp) about a file that names our
// schema: node language_server.mjs FOLDER-OF-node_modules FILE.toml '[[line, column], …]' SECONDS
// Prints for each place what it shows on hover and offers to complete, and its diagnostics, which
// are waited for SECONDS at most: the server sends an empty list before it has read the schema.
import { createRequire } from "node:module";
import fs from "node:fs";
import path from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";

const [packages, file, places, seconds] = process.argv.slice(2);
const { TaploLsp } = createRequire(path.resolve(packages, "x.js"))("@taplo/lsp");
const quiet = async (bytes) => bytes.length;
const environment = {
  now: () => new Date(), envVar: () => undefined, envVars: () => [], stdErrAtty: () => false,
  stdin: async () => new Uint8Array(), stdout: quiet, stderr: quiet, glob: () => [],
  readFile: (p) => fs.promises.readFile(p), writeFile: (p, b) => fs.promises.writeFile(p, b),
  urlToFilePath: (u) => (u.startsWith("file:") ? fileURLToPath(u) : ""), isAbsolute: path.isAbsolute, cwd: () => process.cwd(),
  findConfigFile: () => undefined,
  // Nothing from the network.
  fetch: { fetch: async () => { throw new Error("no network"); }, Headers, Request, Response },
};
const waiting = new Map();
let diagnostics = null;
let server;
const messages = {
  onMessage: (m) => {
    if (m.method === "textDocument/publishDiagnostics") diagnostics = m.params.diagnostics;
    else if (m.method && m.id !== undefined) {
      const items = m.params?.items?.map(() => ({}));
      server.send({ jsonrpc: "2.0", id: m.id, result: items ?? null });
    } else if (waiting.has(m.id)) { waiting.get(m.id)(m.result ?? m.error ?? null); waiting.delete(m.id); }
  },
};
server = await TaploLsp.initialize(environment, messages);
let count = 0;
const ask = (method, params) => new Promise((done) => {
  count += 1;
  waiting.set(count, done);
  server.send({ jsonrpc: "2.0", id: count, method, params });
});
const root = pathToFileURL(path.dirname(path.resolve(file))).href;
await ask("initialize", { processId: process.pid, rootUri: root, capabilities: {
  textDocument: { hover: { contentFormat: ["markdown"] }, completion: { completionItem: { snippetSupport: false } } } },
  workspaceFolders: [{ uri: root, name: "cases" }],
  initializationOptions: { configuration: { schema: { enabled: true, associations: {}, catalogs: [] } } } });
server.send({ jsonrpc: "2.0", method: "initialized", params: {} });
const uri = pathToFileURL(path.resolve(file)).href;
server.send({ jsonrpc: "2.0", method: "textDocument/didOpen", params: { textDocument: {
  uri, languageId: "toml", version: 1, text: fs.readFileSync(file, "utf8") } } });
const rest = (ms) => new Promise((done) => setTimeout(done, ms));
for (let k = 0; k < 300 && !diagnostics; k += 1) await rest(100);
const found = [];
for (const [line, character] of JSON.parse(places)) {
  const at = { textDocument: { uri }, position: { line, character } };
  const hover = await ask("textDocument/hover", at);
  const completion = await ask("textDocument/completion", at);
  const items = completion?.items ?? completion ?? [];
  found.push({ hover: hover?.contents?.value ?? hover?.contents ?? null,
    offers: items.map((i) => ({ label: i.label, text: i.documentation?.value ?? i.documentation ?? null })) });
}
for (let k = 0; k < 10 * seconds && !diagnostics?.length; k += 1) await rest(100);
console.log(JSON.stringify({ diagnostics, found }));
process.exit(0);
