import { useEffect, useMemo, useState } from "preact/hooks";
import { type Net, Sessions } from "../../api/client";
import { type Invitation, Links } from "../../api/people";
import { enter } from "../../i18n";
import { people } from "../../i18n/people";
import type { Who } from "../../model/farm";
import { TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { ProblemNote } from "../../ui/notes";
import { LanguageChoice } from "../../ui/settings";
import { seesText, useDoing } from "./parts";

enter(people);

/** What a link opens: an invitation, or a new password. Its secret stands behind the #, which no server sees. */
export function LinkPage({ net, what }: { net: Net; what: "invitation" | "reset" }) {
  const links = useMemo(() => new Links(net), [net]);
  const secret = useMemo(() => location.hash.slice(1), []);
  return <main class="sign-in">{what === "invitation" ? <Accept net={net} links={links} secret={secret} /> : <NewPassword links={links} secret={secret} />}</main>;
}

function Accept({ net, links, secret }: { net: Net; links: Links; secret: string }) {
  const t = useText();
  const doing = useDoing();
  const [invitation, setInvitation] = useState<Invitation | null>(null);
  const [who, setWho] = useState<Who | null>(null);
  const [name, setName] = useState("");
  const [display, setDisplay] = useState("");
  const [password, setPassword] = useState("");
  useEffect(() => {
    doing.run(async () => setInvitation(await links.look(secret)));
    new Sessions(net).whoAmI().then(setWho, () => setWho(null));
  }, [links, secret, net]);
  const accept = (newcomer: Parameters<Links["accept"]>[1]) =>
    doing.run(async () => {
      await links.accept(secret, newcomer);
      location.replace("/");
    });
  if (!invitation) {
    return (
      <form>
        <h1>{t("core-name")}</h1>
        {doing.problem === null ? <p>{t("people-looking")}</p> : <ProblemNote problem={doing.problem} />}
        <p>
          <a href="/">{t("people-to-page")}</a>
        </p>
        <LanguageChoice />
      </form>
    );
  }
  const limits = invitation.blocks || invitation.seasons ? { blocks: invitation.blocks?.length ? invitation.blocks : undefined, seasons: invitation.seasons ?? undefined } : undefined;
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        accept({ name, display, password });
      }}
    >
      <p class="name">{t("core-name")}</p>
      <h1>{t("people-accept-title", { farm: invitation.farm })}</h1>
      <p>
        {t("people-accept-as", { by: invitation.by, role: t(`core-role-${invitation.role}`) })} {t("people-accept-sees", { what: seesText(limits, (name) => name) })}
      </p>
      <ProblemNote problem={doing.problem} />
      {who && (
        <button type="button" class="main" disabled={doing.busy} onClick={() => accept(null)}>
          {t("people-accept-here", { name: who.person.display || who.person.name })}
        </button>
      )}
      <h2>{t("people-accept-new")}</h2>
      <TextField label={t("people-accept-name")} value={name} onValue={setName} autocomplete="username" required />
      <TextField label={t("people-accept-display")} value={display} onValue={setDisplay} autocomplete="name" required />
      <TextField label={t("people-accept-password")} type="password" value={password} onValue={setPassword} autocomplete="new-password" required hint={t("people-password-hint")} />
      <button type="submit" class="main" disabled={doing.busy}>
        {t("people-accept-make")}
      </button>
      <LanguageChoice />
    </form>
  );
}

function NewPassword({ links, secret }: { links: Links; secret: string }) {
  const t = useText();
  const doing = useDoing();
  const [password, setPassword] = useState("");
  const [done, setDone] = useState(false);
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        doing.run(async () => {
          await links.reset(secret, password);
          setDone(true);
        });
      }}
    >
      <p class="name">{t("core-name")}</p>
      <h1>{t("people-reset-title")}</h1>
      {done ? (
        <p role="status">{t("people-reset-done")}</p>
      ) : (
        <>
          <TextField label={t("people-password-new")} type="password" value={password} onValue={setPassword} autocomplete="new-password" required hint={t("people-password-hint")} />
          <ProblemNote problem={doing.problem} />
          <button type="submit" class="main" disabled={doing.busy}>
            {t("people-password-set")}
          </button>
        </>
      )}
      <p>
        <a href="/">{t("people-to-page")}</a>
      </p>
      <LanguageChoice />
    </form>
  );
}
