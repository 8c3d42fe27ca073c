import { t } from "../i18n";
import type { Position } from "../geo/position";

/** One thing at fault, and where. Numbers count from 1. */
export interface ProblemItem {
  readonly detail: string;
  readonly key?: string;
  /** Dotted path of the property: "products[0].rate.unit". */
  readonly field?: string;
  readonly feature?: number;
  readonly part?: number;
  readonly ring?: number;
  readonly vertex?: number;
  readonly position?: Position;
  readonly line?: number;
  readonly fix?: string;
}

/** A refusal (RFC 9457), or a failure to reach the server: status 0. */
export class Problem extends Error {
  readonly status: number;
  readonly type: string;
  readonly title: string;
  readonly detail: string;
  readonly key: string;
  /** The number under which the server's log holds the cause. */
  readonly logId: string;
  readonly errors: readonly ProblemItem[];

  constructor(of: {
    status: number;
    title: string;
    type?: string;
    detail?: string;
    key?: string;
    id?: string;
    errors?: readonly ProblemItem[];
  }) {
    super(of.detail || of.title);
    this.name = "Problem";
    this.status = of.status;
    this.type = of.type ?? "about:blank";
    this.title = of.title;
    this.detail = of.detail ?? "";
    this.key = of.key ?? "";
    this.logId = of.id ?? "";
    this.errors = of.errors ?? [];
  }

  /** Somebody else changed the record since it was read. */
  get stale(): boolean {
    return this.status === 412;
  }
  /** Nothing came back: the request may or may not have been taken. */
  get offline(): boolean {
    return this.status === 0;
  }
}

/** What a failed request says. Anything that is no problem document is told as what it is. */
export async function problemOf(answer: Response): Promise<Problem> {
  const type = answer.headers.get("Content-Type") ?? "";
  const body: unknown = type.includes("json") ? await answer.json().catch(() => null) : null;
  return problemFrom(body, answer.status);
}

/** What the body of a failed request says. */
export function problemFrom(body: unknown, status: number): Problem {
  return readProblem(body, status) ?? new Problem({ status, title: t("core-problem-garbled"), detail: `HTTP ${status}` });
}

/** Nothing came back. */
export function unreachable(slow: boolean): Problem {
  const title = slow ? t("core-problem-slow") : t("core-problem-offline");
  return new Problem({ status: 0, title, errors: [{ detail: title, fix: t("core-problem-offline-fix") }] });
}

/** Reads a problem document, wherever it stands; null when it is none. */
export function readProblem(body: unknown, status = 0): Problem | null {
  if (!isRecord(body) || typeof body["title"] !== "string") return null;
  return new Problem({
    status: typeof body["status"] === "number" ? body["status"] : status,
    title: body["title"],
    type: text(body["type"]),
    detail: text(body["detail"]),
    key: text(body["key"]),
    id: text(body["id"]),
    errors: Array.isArray(body["errors"]) ? body["errors"].filter(isItem) : [],
  });
}

/** Any thrown value as a problem, for showing. */
export function asProblem(thrown: unknown): Problem {
  if (thrown instanceof Problem) return thrown;
  return new Problem({ status: 0, title: thrown instanceof Error ? thrown.message : String(thrown) });
}

function isRecord(v: unknown): v is Record<string, unknown> {
  return typeof v === "object" && v !== null && !Array.isArray(v);
}

function isItem(v: unknown): v is ProblemItem {
  return isRecord(v) && typeof v["detail"] === "string";
}

function text(v: unknown): string | undefined {
  return typeof v === "string" ? v : undefined;
}
