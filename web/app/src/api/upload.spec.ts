import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import { Problem } from "./problem";
import { type Sent, upload } from "./upload";

/** An XMLHttpRequest that does what the test says. */
class Request extends EventTarget {
  static last: Request;
  readonly upload = new EventTarget();
  readonly headers: Record<string, string> = {};
  status = 0;
  responseText = "";
  aborted = false;
  opened = "";
  constructor() {
    super();
    Request.last = this;
  }
  open(method: string, path: string) {
    this.opened = `${method} ${path}`;
  }
  setRequestHeader(name: string, value: string) {
    this.headers[name] = value;
  }
  send() {}
  abort() {
    this.aborted = true;
    this.dispatchEvent(new Event("abort"));
  }
  answer(status: number, text: string) {
    this.status = status;
    this.responseText = text;
    this.dispatchEvent(new Event("load"));
  }
  left(loaded: number, total: number) {
    this.upload.dispatchEvent(Object.assign(new Event("progress"), { loaded, total, lengthComputable: total > 0 }));
  }
}

beforeEach(() => vi.stubGlobal("XMLHttpRequest", Request));
afterEach(() => vi.unstubAllGlobals());

function begin() {
  const stop = new AbortController();
  const heard: Sent[] = [];
  const done = upload("/farms/demo/imports", new FormData(), { headers: { Prefer: "respond-async" }, signal: stop.signal, heard: (s) => heard.push(s) });
  return { stop, heard, done, request: Request.last };
}

describe("a form on its way", () => {
  it("tells how much has left and gives the answer", async () => {
    const { done, heard, request } = begin();
    request.left(10, 0);
    request.left(50, 100);
    request.answer(202, '{"id":"p"}');
    expect(await done).toEqual({ status: 202, body: { id: "p" } });
    expect(heard).toEqual([{ sent: 10, total: 0 }, { sent: 50, total: 100 }]);
    expect([request.opened, request.headers]).toEqual(["POST /farms/demo/imports", { Prefer: "respond-async" }]);
  });
  it("gives refusals with their status, and null for what is no JSON", async () => {
    const { done, request } = begin();
    request.answer(502, "<html>");
    expect(await done).toEqual({ status: 502, body: null });
  });
  it("ends when it is stopped", async () => {
    const { done, stop, request } = begin();
    stop.abort(new Error("stopped"));
    await expect(done).rejects.toThrow("stopped");
    expect(request.aborted).toBe(true);
  });
  it("says so when nothing comes back", async () => {
    const { done, request } = begin();
    request.dispatchEvent(new Event("error"));
    const thrown: unknown = await done.catch((e: unknown) => e);
    expect(thrown).toBeInstanceOf(Problem);
    expect((thrown as Problem).offline).toBe(true);
  });
});
