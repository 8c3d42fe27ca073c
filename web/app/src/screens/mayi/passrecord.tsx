import { useEffect, useState } from "preact/hooks";
import { coverage, type Coverage, type Due, passSheet } from "../../api/mayi";
import { day, moment, number } from "../../i18n";
import { uuid7 } from "../../model/uuid7";
import type { Feature, Stored } from "../../model/kinds";
import { mayWrite } from "../../model/rights";
import { useAsked } from "../../ui/asked";
import { Check, Choice, TextArea, TextField } from "../../ui/form";
import { useRecords, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { TakeFile } from "../../ui/take";
import { amount, area } from "../../units";
import type { SavedPass } from "../pass/saved";
import type { PlaceProps } from "../place";
import "./mayi.css";

type Of = PlaceProps & { readonly pass: Stored<"passes"> };

/** What a pass is as a record: duties, signs, what went out, its papers, the track. */
export function PassRecord(props: Of) {
  const t = useText();
  const { farm, api, pass, go } = props;
  const zone = farm.info.zone;
  const applied = pass.feature.properties.state === "applied";
  const may = mayWrite(farm.info.role, "passes");
  const { now, problem, again } = useAsked((options) => passSheet(api, pass.id, options), [api, pass.id, pass.revision]);
  return (
    <section>
      <h2>{t("mayi-record")}</h2>
      {problem !== null && <ProblemNote problem={problem} onRetry={again} />}
      {"corrects" in pass.feature.properties && <p>{t("mayi-correcting")}</p>}
      {now?.corrected_by && (
        <p>
          {t("mayi-corrected")}{" "}
          <button type="button" class="link" onClick={() => go({ view: `pass:${now.corrected_by}` })}>
            {t("mayi-open-pass")}
          </button>
        </p>
      )}
      {now?.entry_from && <p>{t("mayi-entry-from", { time: moment(now.entry_from, zone) })}</p>}
      {now && now.duties.length > 0 && <Duties duties={now.duties} zone={zone} />}
      {applied && may && now && <Signs {...props} conditions={now.conditions} />}
      {applied && may && now?.entry_from && <EarlyEntry {...props} />}
      {now && now.rates.length > 0 && (
        <>
          <h3>{t("mayi-rates")}</h3>
          <ul>
            {now.rates.map((r) => {
              const per = (v: number | undefined) => amount({ value: v ?? 0, unit: r.used.unit }, 3);
              const args = { name: r.name, used: amount(r.used, 3), treated: per(r.per_treated_acre), covered: per(r.per_covered_acre) };
              return (
                <li key={r.name}>
                  {t(r.per_covered_acre === undefined ? "mayi-rate" : "mayi-rate-track", args)}
                  {r.difference !== undefined && `; ${t("mayi-difference", { percent: `${r.difference >= 0 ? "+" : "−"}${number(Math.abs(r.difference) * 100, 1)}` })}`}
                  <span class="hint"> {r.how}</span>
                </li>
              );
            })}
          </ul>
        </>
      )}
      <h3>{t("mayi-papers")}</h3>
      <div class="buttons">
        <Paper {...props} name="tank-sheet" label={t("mayi-tank-sheet")} />
        <Paper {...props} name="application-record" label={t("mayi-application-record")} />
        {applied && <Paper {...props} name="entry-sign" label={t("mayi-entry-sign")} />}
        <Paper {...props} name="application-record" form="csv" label={t("mayi-application-table")} />
      </div>
      {applied && <TrackCoverage {...props} may={may} />}
      {applied && may && !now?.corrected_by && <Correct {...props} />}
    </section>
  );
}

function Paper({ farm, api, pass, name, form = "pdf", label }: Of & { name: string; form?: "pdf" | "csv"; label: string }) {
  return <TakeFile net={api.net} path={api.reportPath(name, form, { pass: pass.id })} file={`${farm.id}-${name}.${form}`} label={label} />;
}

/** Every duty with its word: on record, or what is missing and by when. */
export function Duties({ duties, zone }: { duties: readonly Due[]; zone: string }) {
  const t = useText();
  return (
    <ul class="mayi-duties">
      {duties.map((d) => (
        <li key={d.rule}>
          <DutyWord due={d} zone={zone} /> {d.name}, {d.jurisdiction}. <span class="hint">{d.source}.</span>
          {d.kept_until && <span class="hint"> {t("mayi-duty-kept", { day: day(d.kept_until) })}.</span>}
        </li>
      ))}
    </ul>
  );
}

export function DutyWord({ due, zone }: { due: Due; zone: string }) {
  const t = useText();
  if (due.done) {
    return (
      <span class="word ok">
        <span aria-hidden="true">✓</span> {t("mayi-duty-done")}
      </span>
    );
  }
  const what = due.missing.length > 0 ? due.missing.join(", ") : t("mayi-signs-missing");
  const by = due.by ? t(due.late ? "mayi-duty-late" : "mayi-duty-by", { time: moment(due.by, zone) }) : "";
  return (
    <span class={`word ${due.late ? "stop" : "caution"}`}>
      <span aria-hidden="true">{due.late ? "✕" : "△"}</span> {t("mayi-duty-missing", { what })}
      {by && `; ${by}`}
    </span>
  );
}

interface After extends SavedPass {
  signs?: { up_at?: string; down_at?: string };
  met?: { condition: string; at: string; by: string }[];
}

function Signs({ farm, pass, conditions }: Of & { conditions: readonly string[] }) {
  const t = useText();
  const zone = farm.info.zone;
  const p = pass.feature.properties as After;
  const [problem, setProblem] = useState<unknown>(null);
  const [said, setSaid] = useState("");
  const record = async (more: Partial<After>) => {
    setProblem(null);
    setSaid("");
    try {
      await farm.put("passes", { ...pass.feature, properties: { ...p, ...more } } as Feature<"passes">, pass);
      setSaid(t("mayi-recorded"));
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  const now = () => new Date().toISOString();
  const open = conditions.filter((c) => !(p.met ?? []).some((m) => m.condition === c));
  return (
    <>
      {p.signs?.up_at && <p>{t("mayi-signs-up-at", { time: moment(p.signs.up_at, zone) })}</p>}
      {p.signs?.down_at && <p>{t("mayi-signs-down-at", { time: moment(p.signs.down_at, zone) })}</p>}
      <div class="buttons">
        {!p.signs?.up_at && !p.signs?.down_at && (
          <button type="button" onClick={() => void record({ signs: { up_at: now() } })}>
            {t("mayi-signs-up")}
          </button>
        )}
        {!p.signs?.down_at && (
          <button type="button" onClick={() => void record({ signs: { ...p.signs, down_at: now() } })}>
            {t("mayi-signs-down")}
          </button>
        )}
        {open.map((condition) => (
          <button key={condition} type="button" onClick={() => void record({ met: [...(p.met ?? []), { condition, at: now(), by: farm.who.person.display }] })}>
            {t("mayi-met", { condition })}
          </button>
        ))}
      </div>
      <p role="status">{said}</p>
      {problem !== null && <ProblemNote problem={problem} />}
    </>
  );
}

const exceptions = ["no-contact", "short-task", "agricultural-emergency", "special-exception"] as const;

/** An early entry is a visit of its own; the server refuses one that lacks what the rule asks for. */
function EarlyEntry({ farm, pass }: Of) {
  const t = useText();
  const p = pass.feature.properties as SavedPass;
  const empty = { exception: "", workers: "", gear: "", adults: false, told: false };
  const [form, setForm] = useState(empty);
  const [problem, setProblem] = useState<unknown>(null);
  const [said, setSaid] = useState("");
  const set = (part: Partial<typeof empty>) => setForm((f) => ({ ...f, ...part }));
  const [tried, setTried] = useState(false);
  const workers = form.workers.split("\n").map((w) => w.trim()).filter(Boolean);
  const need = (there: boolean) => (tried && !there ? t("pass-apply-needed") : undefined);
  const save = async () => {
    setProblem(null);
    setSaid("");
    setTried(true);
    if (!form.exception || workers.length === 0 || !form.gear.trim() || !form.adults || !form.told) return;
    const properties = {
      block: p.blocks?.[0], pass: pass.id, purpose: "early-entry", started_at: new Date().toISOString(), exception: form.exception, workers, gear: form.gear, all_adults: form.adults, told: form.told,
    };
    try {
      await farm.put("visits", { type: "Feature", id: uuid7(), geometry: null, properties } as unknown as Feature<"visits">);
      setForm(empty);
      setTried(false);
      setSaid(t("mayi-early-saved"));
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  return (
    <details class="mayi">
      <summary>{t("mayi-early")}</summary>
      <p class="hint">{t("mayi-early-hint")}</p>
      <Choice label={t("mayi-early-exception")} value={form.exception} empty="–" fault={need(form.exception !== "")} choices={exceptions.map((e) => ({ value: e, label: t(`mayi-early-${e}`) }))} onValue={(exception) => set({ exception })} />
      <TextArea label={t("mayi-early-workers")} hint={t("mayi-early-workers-hint")} value={form.workers} fault={need(workers.length > 0)} onValue={(workers) => set({ workers })} />
      <TextField label={t("mayi-early-gear")} value={form.gear} fault={need(form.gear.trim() !== "")} onValue={(gear) => set({ gear })} />
      <Check label={t("mayi-early-adults")} checked={form.adults} onChecked={(adults) => set({ adults })} />
      <Check label={t("mayi-early-told")} checked={form.told} onChecked={(told) => set({ told })} />
      {tried && !(form.adults && form.told) && <p class="fault">{t("mayi-early-both")}</p>}
      <button type="button" onClick={() => void save()}>
        {t("mayi-early-save")}
      </button>
      <p role="status">{said}</p>
      {problem !== null && <ProblemNote problem={problem} />}
    </details>
  );
}

const shown = ["covered", "doubled", "missed_less_setback", "outside", "in_setback"] as const;
const drawn = { covered: "treated", doubled: "doubled", missed_less_setback: "missed", outside: "left-out", in_setback: "piece" } as const;

function TrackCoverage({ farm, api, map, pass, may }: Of & { may: boolean }) {
  const t = useText();
  const tracks = useRecords(farm, "tracks");
  const blocks = useRecords(farm, "blocks");
  const p = pass.feature.properties as SavedPass & { coverage?: unknown };
  const [track, setTrack] = useState("");
  const [block, setBlock] = useState(p.blocks?.[0] ?? "");
  const [got, setGot] = useState<Coverage | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  useEffect(() => {
    if (!got) return;
    for (const name of shown) {
      const geometry = got.geometries[name];
      map.setOverlay(`mayi-track-${name}`, geometry ? [{ geometry }] : null, drawn[name]);
    }
    return () => {
      for (const name of shown) map.setOverlay(`mayi-track-${name}`, null);
    };
  }, [map, got]);
  const weigh = async () => {
    setBusy(true);
    setProblem(null);
    try {
      setGot(await coverage(api, { track, block, setbacks: rulesOf(p), wind_from_deg: p.weather?.wind_from_deg }, {}));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };
  const keep = async () => {
    if (!got) return;
    setProblem(null);
    try {
      const kept = { areas: got.areas, runs: got.runs, pieces: got.pieces, sprayed_length_m: got.sprayed_length_m, track, block };
      await farm.put("passes", { ...pass.feature, properties: { ...p, coverage: kept } } as Feature<"passes">, pass);
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  const name = (id: string) => blocks.list.find((b) => b.id === id)?.feature.properties.name ?? id;
  return (
    <section>
      <h3>{t("mayi-tracks")}</h3>
      {tracks.list.length === 0 ? (
        <p class="hint">{t("mayi-track-none")}</p>
      ) : (
        <>
          <Choice label={t("mayi-track")} value={track} empty="–" choices={tracks.list.map((x) => ({ value: x.id, label: trackName(x) }))} onValue={setTrack} />
          {(p.blocks?.length ?? 0) > 1 && <Choice label={t("mayi-history-block")} value={block} choices={(p.blocks ?? []).map((b) => ({ value: b, label: name(b) }))} onValue={setBlock} />}
          <button type="button" disabled={busy || !track || !block} onClick={() => void weigh()}>
            {busy ? t("core-loading") : t("mayi-track-weigh")}
          </button>
        </>
      )}
      {problem !== null && <ProblemNote problem={problem} />}
      {got && (
        <>
          <dl class="figures">
            {shown.map((k) => (
              <>
                <dt>{t(`mayi-${k}`)}</dt>
                <dd>{area(got.areas[`${k}_m2`] ?? 0)}</dd>
              </>
            ))}
          </dl>
          <Caution>{got.caution}</Caution>
          {may && p.coverage === undefined && (
            <button type="button" onClick={() => void keep()}>
              {t("mayi-track-keep")}
            </button>
          )}
        </>
      )}
    </section>
  );
}

/** The setbacks of a pass, of what the coverage of a track reads of them. */
function rulesOf(p: SavedPass): unknown[] {
  return (p.setbacks ?? []).map((s) => {
    const { from, distance_m, side, half_angle_deg } = s as Record<string, unknown>;
    return { from, distance_m, side, half_angle_deg };
  });
}

function trackName(x: Stored<"tracks">): string {
  const p = x.feature.properties as Readonly<Record<string, unknown>>;
  return typeof p["name"] === "string" && p["name"] ? p["name"] : x.id;
}

/** A correction is a record of its own that points to this one. */
function Correct({ farm, pass, go }: Of) {
  const t = useText();
  const [problem, setProblem] = useState<unknown>(null);
  const begin = async () => {
    setProblem(null);
    const { signs: _s, met: _m, coverage: _c, ...rest } = pass.feature.properties as After & { coverage?: unknown };
    const id = uuid7();
    try {
      await farm.put("passes", { ...pass.feature, id, properties: { ...rest, start: rest.started_at, state: "draft", corrects: pass.id } } as Feature<"passes">);
      go({ view: `pass:${id}` });
    } catch (thrown) {
      setProblem(thrown);
    }
  };
  return (
    <>
      <p class="hint">{t("mayi-correct-why")}</p>
      <button type="button" onClick={() => void begin()}>
        {t("mayi-correct")}
      </button>
      {problem !== null && <ProblemNote problem={problem} />}
    </>
  );
}

