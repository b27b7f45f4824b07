import assert from "node:assert/strict";
import test from "node:test";
import {
  crewPageFor,
  cacheName,
  faultOf,
  keptPath,
  outdated,
  PAGE,
  type KeptFile,
} from "./precache.ts";

const ORIGIN = "https://lagan.example";
const SCRIPT: KeptFile = {
  path: "/static/crew.ABC.js",
  type: "text/javascript",
  integrity: "sha256-AAAA",
};
const KEPT = new Set([PAGE, SCRIPT.path]);

function decided(path: string, more: { method?: string; mode?: RequestMode } = {}): string | null {
  const url = path.startsWith("http") ? path : ORIGIN + path;
  return keptPath({ method: "GET", mode: "cors", url, ...more }, ORIGIN, KEPT);
}

test("answers a file of the list from the phone", () => {
  assert.equal(decided(SCRIPT.path), SCRIPT.path);
});

test("opens the page from the phone, whatever stands behind its path", () => {
  for (const path of [PAGE, "/crew/#/L-1/pieces", "/crew/?from=home-screen"]) {
    assert.equal(decided(path, { mode: "navigate" }), PAGE, path);
  }
});

test("never touches what only the service can answer", () => {
  for (const path of ["/api/losses", "/api/items/0000000000001", "/log/events", "/photos/abc"]) {
    for (const method of ["GET", "POST", "PUT"]) assert.equal(decided(path, { method }), null);
  }
});

test("lets everything else pass", () => {
  for (const path of [
    "/static/crew.OLD.js",
    `${SCRIPT.path}?again`,
    `https://elsewhere.example${SCRIPT.path}`,
    `http://lagan.example${SCRIPT.path}`,
    PAGE, // Fetched by a script, such as the next version being kept, and not opened.
  ]) {
    assert.equal(decided(path), null, path);
  }
  for (const path of ["/facility/", "/crew/elsewhere", SCRIPT.path]) {
    assert.equal(decided(path, { mode: "navigate" }), null, path);
  }
  for (const method of ["HEAD", "POST"]) {
    assert.equal(decided(SCRIPT.path, { method }), null);
    assert.equal(decided(PAGE, { method, mode: "navigate" }), null);
  }
});

test("opens no page from the phone that is not kept", () => {
  const request = { method: "GET", mode: "navigate", url: ORIGIN + PAGE } as const;
  assert.equal(keptPath(request, ORIGIN, new Set()), null);
});

interface Came {
  ok: boolean;
  status: number;
  redirected: boolean;
  type: ResponseType;
  headers: Headers;
}

function came(type: string | null, more: Partial<Came> = {}): Came {
  const headers = new Headers(type === null ? {} : { "content-type": type });
  return { ok: true, status: 200, redirected: false, type: "basic", headers, ...more };
}

test("keeps an answer of the right kind", () => {
  assert.equal(faultOf(came("text/javascript; charset=utf-8"), SCRIPT), null);
  assert.equal(faultOf(came("Text/JavaScript"), SCRIPT), null);
  assert.equal(faultOf(came("application/javascript"), SCRIPT), null);
});

test("keeps no sign-in page, no error and nothing from elsewhere", () => {
  for (const [answer, why] of [
    [came("text/html"), /came as text\/html/],
    [came("text/javascript-not"), /came as/],
    [came(null), /came as nothing/],
    [came("text/javascript", { ok: false, status: 503 }), /answered 503/],
    [came("text/javascript", { redirected: true }), /redirected/],
    [came("text/javascript", { type: "cors" }), /another address/],
    [came("text/javascript", { type: "opaque" }), /another address/],
  ] as const) {
    assert.match(faultOf(answer, SCRIPT) ?? "kept", why);
  }
});

test("names the cache after the files, so that a changed file is another cache", async () => {
  const name = await cacheName([SCRIPT]);
  assert.equal(await cacheName([{ ...SCRIPT }]), name);
  for (const change of [{ path: "/other" }, { type: "text/css" }, { integrity: "sha256-BBBB" }]) {
    assert.notEqual(await cacheName([{ ...SCRIPT, ...change }]), name);
  }
  assert.deepEqual(outdated([name, "crew-old", "somebody-else"], name), ["crew-old"]);
});

test("only going to the address of a tag leads to the crew's page", () => {
  const origin = "https://lagan.invalid";
  const ask = (url: string, mode: RequestMode = "navigate", method = "GET") =>
    crewPageFor({ url, mode, method }, origin);
  const page = `${origin}/crew/#tag=ABCDEFGHJKMN7`;
  assert.equal(ask(`${origin}/T/ABCDEFGHJKMN7`), page);
  assert.equal(ask(`${origin}/t/abcdefghjkmn7`), page);
  for (const path of ["/", "/T/", "/T/a/b", "/office/", "/crew/", "/x/T/ABCDEFGHJKMN7"]) {
    assert.equal(ask(`${origin}${path}`), null, path);
  }
  assert.equal(ask(`${origin}/T/ABCDEFGHJKMN7`, "cors"), null);
  assert.equal(ask(`${origin}/T/ABCDEFGHJKMN7`, "navigate", "POST"), null);
  assert.equal(ask("https://other.invalid/T/ABCDEFGHJKMN7"), null);
});
