import { useState } from "preact/hooks";
import { People } from "../../api/people";
import { asProblem } from "../../api/problem";
import { moment } from "../../i18n";
import { useAsked } from "../../ui/asked";
import { TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { faultOf, ProblemNote } from "../../ui/notes";
import type { PlaceProps } from "../place";
import { useDoing } from "./parts";

/** One's own sign-ins, password and second factor, and the way off the farm. */
export function OwnSignIn(props: PlaceProps) {
  const t = useText();
  const { api, farm } = props;
  const people = new People(api);
  const asked = useAsked((options) => people.account(options), [api]);
  const doing = useDoing();
  return (
    <>
      <h2>{t("people-account")}</h2>
      <ProblemNote problem={doing.problem ?? asked.problem} />
      <h3>{t("people-sessions")}</h3>
      <ul class="people-list">
        {asked.now?.sessions.map((s) => {
          const time = moment(s.since, farm.info.zone);
          return (
            <li key={s.id}>
              <p>
                {t("people-session-line", { time, agent: s.agent })}
                {s.current && ` (${t("people-session-here")})`}
              </p>
              {!s.current && (
                <button
                  type="button"
                  onClick={() =>
                    doing.run(async () => {
                      await people.endSession(s.id);
                      asked.again();
                    })
                  }
                >
                  {t("people-session-end", { time })}
                </button>
              )}
            </li>
          );
        })}
      </ul>
      <NewPassword people={people} onDone={asked.again} />
      {asked.now && <Codes people={people} on={asked.now.second_factor.on} left={asked.now.second_factor.recovery_codes} onDone={asked.again} />}
      <Leave {...props} />
    </>
  );
}

function NewPassword({ people, onDone }: { people: People; onDone: () => void }) {
  const t = useText();
  const doing = useDoing();
  const [now, setNow] = useState("");
  const [next, setNext] = useState("");
  const [done, setDone] = useState(false);
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        setDone(false);
        doing.run(async () => {
          await people.setPassword(now, next);
          setNow("");
          setNext("");
          setDone(true);
          onDone();
        });
      }}
    >
      <h3>{t("people-password")}</h3>
      <TextField label={t("people-password-now")} type="password" value={now} onValue={setNow} autocomplete="current-password" required />
      <TextField label={t("people-password-new")} type="password" value={next} onValue={setNext} autocomplete="new-password" required hint={t("people-password-hint")} />
      <ProblemNote problem={doing.problem} />
      <button type="submit" disabled={doing.busy}>
        {t("people-password-set")}
      </button>
      <p role="status">{done && t("people-password-done")}</p>
    </form>
  );
}

function Codes({ people, on, left, onDone }: { people: People; on: boolean; left: number; onDone: () => void }) {
  const t = useText();
  const doing = useDoing();
  const [password, setPassword] = useState("");
  const [code, setCode] = useState("");
  const [key, setKey] = useState<{ address: string; key: string } | null>(null);
  const [recovery, setRecovery] = useState<readonly string[]>([]);
  const problem = doing.problem === null ? null : asProblem(doing.problem);
  const submit = (work: () => Promise<void>) => (e: Event) => {
    e.preventDefault();
    doing.run(work);
  };
  const begin = submit(async () => {
    if (on) {
      await people.endCodes(password);
      setRecovery([]);
      onDone();
    } else setKey(await people.beginCodes(password));
    setPassword("");
  });
  const finish = submit(async () => {
    setRecovery((await people.finishCodes(code)).recovery);
    setKey(null);
    setCode("");
    onDone();
  });
  return (
    <>
      <h3>{t("people-factor")}</h3>
      <p>{on ? t("people-factor-on", { n: left }) : t("people-factor-off")}</p>
      {recovery.length > 0 && (
        <div class="secret">
          <p>{t("people-factor-recovery")}</p>
          <ul>
            {recovery.map((c) => (
              <li key={c}>
                <code>{c}</code>
              </li>
            ))}
          </ul>
        </div>
      )}
      {key ? (
        <form onSubmit={finish}>
          <div class="secret">
            <p>{t("people-factor-key")}</p>
            <p>
              <code>{key.key}</code>
            </p>
            <p>
              <a href={key.address}>{t("people-factor-open")}</a>
            </p>
          </div>
          <TextField label={t("people-factor-code")} value={code} onValue={setCode} inputMode="numeric" autocomplete="one-time-code" required fault={faultOf(problem, "code")} />
          <ProblemNote problem={doing.problem} fields={["code"]} />
          <button type="submit" disabled={doing.busy}>
            {t("people-factor-finish")}
          </button>
        </form>
      ) : (
        <form onSubmit={begin}>
          <TextField label={t("people-password-now")} type="password" value={password} onValue={setPassword} autocomplete="current-password" required fault={faultOf(problem, "password")} />
          <ProblemNote problem={doing.problem} fields={["password"]} />
          <button type="submit" disabled={doing.busy}>
            {t(on ? "people-factor-end" : "people-factor-begin")}
          </button>
        </form>
      )}
    </>
  );
}

function Leave({ api, farm }: PlaceProps) {
  const t = useText();
  const doing = useDoing();
  const [asked, setAsked] = useState(false);
  return (
    <>
      <h2>{t("people-leave")}</h2>
      <p>{t("people-leave-note")}</p>
      <ProblemNote problem={doing.problem} />
      <div class="buttons">
        {asked ? (
          <>
            <button
              type="button"
              disabled={doing.busy}
              onClick={() =>
                doing.run(async () => {
                  await new People(api).leave();
                  location.assign("/");
                })
              }
            >
              {t("people-leave-yes", { farm: farm.info.name })}
            </button>
            <button type="button" onClick={() => setAsked(false)}>
              {t("people-cancel")}
            </button>
          </>
        ) : (
          <button type="button" onClick={() => setAsked(true)}>
            {t("people-leave")}
          </button>
        )}
      </div>
    </>
  );
}
