import { useState } from "preact/hooks";
import type { Limits } from "../../api/people";
import { t as text } from "../../i18n";
import { useText } from "../../ui/hooks";

/** A secret that is shown once, with a button that copies it. */
export function Secret({ label, note, value }: { label: string; note: string; value: string }) {
  const t = useText();
  const [copied, setCopied] = useState(false);
  const copy = async () => {
    await navigator.clipboard.writeText(value);
    setCopied(true);
  };
  return (
    <div class="secret">
      <p>{note}</p>
      <p>
        <strong>{label}</strong> <code>{value}</code>
      </p>
      {navigator.clipboard && (
        <button type="button" onClick={() => void copy()}>
          {t("people-copy")}
        </button>
      )}
      <span role="status">{copied && t("people-copied")}</span>
    </div>
  );
}

/** What somebody sees, in words. */
export function seesText(limits: Limits | undefined, nameOf: (block: string) => string): string {
  if (!limits) return text("people-whole");
  return text("people-limited", {
    blocks: limits.blocks?.map(nameOf).join(", ") ?? text("people-all-blocks"),
    seasons: limits.seasons?.join(", ") ?? text("people-all-seasons"),
  });
}

/** Runs one thing at a time and keeps what went wrong. */
export function useDoing(): { busy: boolean; problem: unknown; run: (work: () => Promise<void>) => void } {
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const run = (work: () => Promise<void>) => {
    setBusy(true);
    setProblem(null);
    work().catch(setProblem).then(() => setBusy(false));
  };
  return { busy, problem, run };
}
