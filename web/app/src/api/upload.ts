import { unreachable } from "./problem";

/** Bytes of a body that have left; total 0 while it is not known. */
export interface Sent {
  readonly sent: number;
  readonly total: number;
}

export interface Uploading {
  readonly headers: Readonly<Record<string, string>>;
  readonly signal: AbortSignal;
  readonly heard: (sent: Sent) => void;
}

/** Sends a form and tells how much has left, which fetch does not. The body of the answer is null when it is no JSON. */
export function upload(path: string, form: FormData, { headers, signal, heard }: Uploading): Promise<{ status: number; body: unknown }> {
  return new Promise((answered, failed) => {
    const request = new XMLHttpRequest();
    const stop = () => request.abort();
    const done = (end: () => void) => {
      signal.removeEventListener("abort", stop);
      end();
    };
    request.open("POST", path);
    for (const [name, value] of Object.entries(headers)) request.setRequestHeader(name, value);
    request.upload.addEventListener("progress", (e) => heard({ sent: e.loaded, total: e.lengthComputable ? e.total : 0 }));
    request.addEventListener("load", () => done(() => answered({ status: request.status, body: parsed(request.responseText) })));
    request.addEventListener("error", () => done(() => failed(unreachable(false))));
    request.addEventListener("abort", () => done(() => failed(signal.reason)));
    if (signal.aborted) {
      failed(signal.reason);
      return;
    }
    signal.addEventListener("abort", stop);
    request.send(form);
  });
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}
