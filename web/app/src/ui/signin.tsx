import { useState } from "preact/hooks";
import { codeWanted, type Sessions } from "../api/client";
import { asProblem } from "../api/problem";
import { TextField } from "./form";
import { useText } from "./hooks";
import { LanguageChoice } from "./settings";
import { ProblemNote } from "./notes";

/** Asks who is working. `ended` says that a sign-in ran out under the work; `onLater` goes on without one. */
export function SignIn({ sessions, ended, onDone, onLater }: { sessions: Sessions; ended?: boolean; onDone: () => void; onLater?: () => void }) {
  const t = useText();
  const [name, setName] = useState("");
  const [password, setPassword] = useState("");
  const [code, setCode] = useState("");
  const [asks, setAsks] = useState(false);
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<unknown>(null);
  const submit = async (e: Event) => {
    e.preventDefault();
    setBusy(true);
    setProblem(null);
    try {
      await sessions.signIn(name.trim(), password, code.trim());
      onDone();
    } catch (thrown) {
      // The question for the code is no fault before one was typed.
      if (asProblem(thrown).key === codeWanted) setAsks(true);
      else setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  return (
    <main class="sign-in">
      <form onSubmit={submit}>
        <p class="name">{t("core-name")}</p>
        <h1>{t("core-sign-in-title")}</h1>
        {ended && <p>{t("core-problem-sign-in")}</p>}
        <TextField label={t("core-sign-in-name")} value={name} onValue={setName} autocomplete="username" required id="sign-in-name" />
        <TextField label={t("core-sign-in-password")} value={password} onValue={setPassword} type="password" autocomplete="current-password" required id="sign-in-password" />
        {asks && <TextField label={t("core-sign-in-code")} hint={t("core-sign-in-code-hint")} value={code} onValue={setCode} inputMode="text" autocomplete="one-time-code" required id="sign-in-code" />}
        <ProblemNote problem={problem} />
        <button type="submit" class="main" disabled={busy} aria-busy={busy}>
          {t("core-sign-in")}
        </button>
        {onLater && (
          <button type="button" class="later" onClick={onLater}>
            {t("offline-later-sign-in")}
          </button>
        )}
        <p class="soft">{t("core-sign-in-lost")}</p>
        {!globalThis.isSecureContext && <p class="soft">{t("core-insecure")}</p>}
        <LanguageChoice />
      </form>
    </main>
  );
}
