import { useState } from "preact/hooks";
import type { Net } from "../api/client";
import { useText } from "./hooks";
import { ProblemNote } from "./notes";

/** A button that takes a file of the server's away: fetched rather than linked, so that it speaks the page's language. */
export function TakeFile({ net, path, file, label }: { net: Net; path: string; file: string; label: string }) {
  const t = useText();
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const take = async () => {
    setBusy(true);
    setProblem(null);
    try {
      const address = URL.createObjectURL(await (await net.ask(path, { timeoutMs: 60_000 })).blob());
      const link = document.createElement("a");
      link.href = address;
      link.download = file;
      link.click();
      // The browser reads it after this turn.
      setTimeout(() => URL.revokeObjectURL(address), 60_000);
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  return (
    <>
      <button type="button" disabled={busy} onClick={() => void take()}>
        {busy ? t("core-loading") : label}
      </button>
      {problem !== null && <ProblemNote problem={problem} />}
    </>
  );
}
