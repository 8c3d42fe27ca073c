import { useState } from "preact/hooks";
import { type Grant, type Limits, type Made, type Member, People } from "../../api/people";
import { asProblem } from "../../api/problem";
import { day } from "../../i18n";
import type { Role } from "../../model/farm";
import { useAsked } from "../../ui/asked";
import { Check, Choice, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { faultOf, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { PlaceProps } from "../place";
import { OwnSignIn } from "./account";
import { Secret, seesText, useDoing } from "./parts";
import "./people.css";

const roles: readonly Role[] = ["owner", "applicator", "scout", "adviser", "viewer"];

/** Who sees the farm, what they were handed, and one's own sign-in. */
export function PeopleScreen(props: PlaceProps) {
  const t = useText();
  return (
    <div class="people">
      <h1>{t("people-title")}</h1>
      {props.farm.info.role === "owner" && <Members {...props} />}
      <Tokens {...props} />
      <OwnSignIn {...props} />
    </div>
  );
}

function Members({ farm, api }: PlaceProps) {
  const t = useText();
  const asked = useAsked((options) => new People(api).list(options), [api]);
  const blocks = useRecords(farm, "blocks").list.map((b) => ({ id: b.id, name: b.feature.properties.name }));
  const nameOf = (id: string) => blocks.find((b) => b.id === id)?.name ?? id;
  const doing = useDoing();
  const [made, setMade] = useState<{ link: string; of: string } | null>(null);
  if (!asked.now) return asked.problem ? <ProblemNote problem={asked.problem} onRetry={asked.again} /> : <p>{t("core-loading")}</p>;
  const { people, invitations } = asked.now;
  const takeOff = (m: Member) =>
    doing.run(async () => {
      await new People(api).remove(m.id);
      say(t("people-taken-off", { name: m.display }));
      asked.again();
    });
  const reset = (m: Member) => doing.run(async () => setMade({ link: linkOf("reset", await new People(api).reset(m.id)), of: m.id }));
  return (
    <>
      <h2>{t("people-list")}</h2>
      <ProblemNote problem={doing.problem} />
      <ul class="people-list">
        {people.map((m) => (
          <li key={m.id}>
            <p>
              <strong>{m.display}</strong> ({m.name}), {t(`core-role-${m.role}`)}
              {m.you && `, ${t("people-you")}`}; {seesText(m.limits, nameOf)}
              {m.second_factor && `. ${t("people-codes")}`}
            </p>
            {!m.you && <MemberChange member={m} blocks={blocks} api={api} onDone={asked.again} takeOff={() => takeOff(m)} reset={() => reset(m)} busy={doing.busy} />}
            {made?.of === m.id && <Secret label={t("people-link")} note={t("people-once")} value={made.link} />}
          </li>
        ))}
      </ul>
      <Invite api={api} blocks={blocks} onDone={asked.again} />
      {invitations.length > 0 && (
        <>
          <h2>{t("people-invitations")}</h2>
          <ul class="people-list">
            {invitations.toReversed().map((g) => (
              <li key={g.id}>
                <p>
                  {t("people-invitation-line", { name: g.name, role: t(`core-role-${g.role ?? "viewer"}`), day: day(g.expires) })}; {seesText(g.limits, nameOf)}. {t(`people-state-${g.state}`)}
                  {g.person && `: ${g.person.display}`}
                </p>
                {g.state === "open" && (
                  <button
                    type="button"
                    onClick={() =>
                      doing.run(async () => {
                        await new People(api).endInvitation(g.id);
                        asked.again();
                      })
                    }
                  >
                    {t("people-take-back", { name: g.name })}
                  </button>
                )}
              </li>
            ))}
          </ul>
        </>
      )}
    </>
  );
}

// Behind the # nothing is sent to a server, so the secret stands in no log.
const linkOf = (what: string, made: Made) => `${location.origin}/go/${what}#${made.secret}`;

type BlockName = { readonly id: string; readonly name: string };

function MemberChange(props: { member: Member; blocks: readonly BlockName[]; api: PlaceProps["api"]; onDone: () => void; takeOff: () => void; reset: () => void; busy: boolean }) {
  const t = useText();
  const { member, api } = props;
  const [open, setOpen] = useState(false);
  const doing = useDoing();
  const [role, setRole] = useState<Role>(member.role);
  const [limits, setLimits] = useState<Limits | null>(member.limits ?? null);
  if (!open) {
    return (
      <div class="buttons">
        <button type="button" onClick={() => setOpen(true)}>
          {t("people-change", { name: member.display })}
        </button>
        <button type="button" disabled={props.busy} onClick={props.takeOff}>
          {t("people-take-off", { name: member.display })}
        </button>
        <button type="button" disabled={props.busy} onClick={props.reset}>
          {t("people-reset", { name: member.display })}
        </button>
      </div>
    );
  }
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        doing.run(async () => {
          await new People(api).change(member.id, role, limits ?? {});
          setOpen(false);
          props.onDone();
        });
      }}
    >
      <RoleAndLimits role={role} setRole={setRole} limits={limits} setLimits={setLimits} blocks={props.blocks} />
      <ProblemNote problem={doing.problem} />
      <div class="buttons">
        <button type="submit" class="main" disabled={doing.busy || emptyLimits(limits)}>
          {t("people-save", { name: member.display })}
        </button>
        <button type="button" onClick={() => setOpen(false)}>
          {t("people-cancel")}
        </button>
      </div>
    </form>
  );
}

const emptyLimits = (l: Limits | null) => l !== null && !l.blocks?.length && !l.seasons?.length;

function RoleAndLimits(props: { role: Role; setRole: (r: Role) => void; limits: Limits | null; setLimits: (l: Limits | null) => void; blocks: readonly BlockName[] }) {
  const t = useText();
  const { role, limits, setLimits } = props;
  const year = new Date().getFullYear();
  const years = [...new Set([...Array.from({ length: 4 }, (_, i) => year - i), ...(limits?.seasons ?? [])])].toSorted((a, b) => b - a);
  const toggled = <T,>(list: readonly T[] | undefined, one: T, on: boolean): readonly T[] | undefined => {
    const next = (list ?? []).filter((v) => v !== one);
    if (on) next.push(one);
    return next.length > 0 ? next : undefined;
  };
  return (
    <>
      <Choice
        label={t("people-role")}
        value={role}
        choices={roles.map((r) => ({ value: r, label: t(`core-role-${r}`) }))}
        onValue={(r) => {
          props.setRole(r);
          if (r === "owner") setLimits(null);
        }}
      />
      {role !== "owner" && <Check label={t("people-limit")} checked={limits !== null} onChecked={(on) => setLimits(on ? {} : null)} hint={t("people-limit-note")} />}
      {limits && (
        <>
          <fieldset>
            <legend>{t("people-blocks")}</legend>
            {props.blocks.map((b) => (
              <Check key={b.id} label={b.name} checked={limits.blocks?.includes(b.id) ?? false} onChecked={(on) => setLimits({ ...limits, blocks: toggled(limits.blocks, b.id, on) })} />
            ))}
          </fieldset>
          <fieldset>
            <legend>{t("people-seasons")}</legend>
            {years.map((y) => (
              <Check key={y} label={String(y)} checked={limits.seasons?.includes(y) ?? false} onChecked={(on) => setLimits({ ...limits, seasons: toggled(limits.seasons, y, on) })} />
            ))}
          </fieldset>
          {emptyLimits(limits) && <p class="hint">{t("people-limit-none")}</p>}
        </>
      )}
    </>
  );
}

function Invite({ api, blocks, onDone }: { api: PlaceProps["api"]; blocks: readonly BlockName[]; onDone: () => void }) {
  const t = useText();
  const doing = useDoing();
  const [name, setName] = useState("");
  const [role, setRole] = useState<Role>("adviser");
  const [limits, setLimits] = useState<Limits | null>(null);
  const [link, setLink] = useState("");
  const problem = doing.problem === null ? null : asProblem(doing.problem);
  return (
    <>
      <h2>{t("people-invite")}</h2>
      <form
        onSubmit={(e) => {
          e.preventDefault();
          doing.run(async () => {
            setLink(linkOf("invitation", await new People(api).invite(name, role, limits ?? {})));
            setName("");
            onDone();
          });
        }}
      >
        <TextField label={t("people-invite-name")} value={name} onValue={setName} required fault={faultOf(problem, "name")} />
        <RoleAndLimits role={role} setRole={setRole} limits={limits} setLimits={setLimits} blocks={blocks} />
        <ProblemNote problem={doing.problem} fields={["name"]} />
        <button type="submit" class="main" disabled={doing.busy || emptyLimits(limits)}>
          {t("people-invite-make")}
        </button>
      </form>
      {link && <Secret label={t("people-link")} note={t("people-once")} value={link} />}
    </>
  );
}

const tokenDays = [30, 180, 365] as const;

function Tokens({ api, farm }: PlaceProps) {
  const t = useText();
  const asked = useAsked((options) => new People(api).tokens(options), [api]);
  const doing = useDoing();
  const [name, setName] = useState("");
  const [writes, setWrites] = useState(false);
  const [days, setDays] = useState("180");
  const [secret, setSecret] = useState("");
  const mayWrite = farm.info.role !== "viewer";
  return (
    <>
      <h2>{t("people-tokens")}</h2>
      <p class="hint">{t("people-tokens-note")}</p>
      {asked.problem !== null && <ProblemNote problem={asked.problem} onRetry={asked.again} />}
      {asked.now?.tokens.length === 0 && <p>{t("people-tokens-none")}</p>}
      <ul class="people-list">
        {asked.now?.tokens.map((g) => (
          <TokenLine
            key={g.id}
            token={g}
            end={() =>
              doing.run(async () => {
                await new People(api).endToken(g.id);
                asked.again();
              })
            }
          />
        ))}
      </ul>
      <form
        onSubmit={(e) => {
          e.preventDefault();
          doing.run(async () => {
            setSecret((await new People(api).makeToken(name, writes, Number(days))).secret);
            setName("");
            asked.again();
          });
        }}
      >
        <TextField label={t("people-token-name")} value={name} onValue={setName} required />
        <Choice label={t("people-token-days")} value={days} choices={tokenDays.map((n) => ({ value: String(n), label: t("people-token-day", { n }) }))} onValue={setDays} />
        {mayWrite && <Check label={t("people-token-writes")} checked={writes} onChecked={setWrites} />}
        <ProblemNote problem={doing.problem} />
        <button type="submit" disabled={doing.busy}>
          {t("people-token-make")}
        </button>
      </form>
      {secret && <Secret label={t("people-token")} note={t("people-token-once")} value={secret} />}
    </>
  );
}

function TokenLine({ token: g, end }: { token: Grant; end: () => void }) {
  const t = useText();
  return (
    <li>
      <p>
        {t("people-token-line", { name: g.name, who: g.person?.display ?? "", what: t(g.writes ? "people-token-write" : "people-token-read"), day: day(g.expires) })};{" "}
        {g.used ? t("people-token-used", { day: day(g.used) }) : t("people-token-unused")}
        {g.state !== "open" && `. ${t(`people-state-${g.state}`)}`}
      </p>
      <button type="button" onClick={end}>
        {t("people-token-end", { name: g.name })}
      </button>
    </li>
  );
}
