import { useEffect, useRef, useState } from "preact/hooks";
import type { Client } from "../../api/client";
import { type CountAnswer, Fieldwork, type Programme, type Programmes } from "../../api/fieldwork";
import { asProblem, Problem } from "../../api/problem";
import { language, number, t } from "../../i18n";
import type { Farm } from "../../model/farm";
import { MainAction } from "../../ui/action";
import { Choice } from "../../ui/form";
import { useSignal, useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { Go } from "../place";
import { keepTally, tallies, withCount } from "./tally";
import { noTally, type Preview, roundedUp, type Tally, weigh } from "./weigh";
import type { Visiting } from "./visiting";

/** Counting by a programme: what was looked at, what showed it, and what that says so far. */
export function CountPanel({ farm, api, view, go, visit }: { farm: Farm; api: Client; view: string | undefined; go: Go; visit: Visiting }) {
  const t = useText();
  const lang = useSignal(language);
  const known = useSignal(farm.answer<Programmes>("programmes"));
  const [problem, setProblem] = useState<unknown>(null);
  const ask = () => void farm.ask("programmes", () => new Fieldwork(api).programmes()).then(() => setProblem(null), setProblem);
  useEffect(ask, [farm, api]);
  const failed = problem ? asProblem(problem) : null;
  if (!known) {
    if (!failed) return <p>{t("core-loading")}</p>;
    return <ProblemNote problem={failed.offline ? new Problem({ status: 0, title: t("walk-count-none") }) : failed} onRetry={ask} />;
  }
  const chosen = known.programmes.find((p) => view === `count:${p.id}`);
  return (
    <>
      {failed && !failed.offline && <ProblemNote problem={failed} onRetry={ask} />}
      <Choice
        label={t("walk-count-what")}
        value={chosen?.id ?? ""}
        choices={known.programmes.map((p) => ({ value: p.id, label: p.texts[lang].title }))}
        onValue={(id) => go({ view: `count:${id}` }, { replace: chosen !== undefined })}
      />
      {chosen && <Counting key={`${chosen.id} ${visit.mine?.id}`} farm={farm} api={api} programme={chosen} visit={visit} />}
    </>
  );
}

function Counting({ farm, api, programme, visit }: { farm: Farm; api: Client; programme: Programme; visit: Visiting }) {
  const t = useText();
  const lang = useSignal(language);
  const words = programme.texts[lang];
  const id = visit.mine?.id;
  const keptCount = visit.mine?.feature.properties.counts?.find((c) => c.what === programme.id);
  const keptTally: Tally = keptCount ? { n: keptCount.sampled, hits: keptCount.hits } : noTally;
  const [tally, setTally] = useState<Tally>(() => (id && tallies(farm.id, id)[programme.id]) || keptTally);
  const before = useRef<Tally[]>([]);
  const [problem, setProblem] = useState<unknown>(null);
  const [busy, setBusy] = useState(false);
  const share = programme.method === "binomial";

  const enter = (next: Tally) => {
    setTally(next);
    if (id) keepTally(farm.id, id, programme.id, next);
  };
  const tapOn = (n: number, hits: number) => {
    before.current.push(tally);
    enter({ n: tally.n + n, hits: tally.hits + hits, ...(share ? {} : { several: true }) });
  };
  const back = () => {
    const last = before.current.pop();
    if (last) enter(last);
  };
  const keep = async () => {
    setBusy(true);
    setProblem(null);
    try {
      await visit.amend((p) => ({ ...p, counts: withCount(p.counts, programme.id, tally) }));
      if (id) keepTally(farm.id, id, programme.id, null);
      before.current = [];
      say(t("walk-count-kept"));
    } catch (thrown) {
      setProblem(thrown);
    } finally {
      setBusy(false);
    }
  };

  const same = tally.n === keptTally.n && tally.hits === keptTally.hits;
  const blocked = !id ? t("walk-count-no-visit") : tally.n === 0 && same ? t("walk-count-first") : same ? t("walk-count-kept-already") : undefined;
  return (
    <section class="counting">
      <p>
        {words.sample} <span class="hint">{words.stage}</span>
      </p>
      <div class="count-now" role="status">
        <p>{programme.look > 0 ? t("walk-count-look", { n: tally.n, look: programme.look, unit: words.unit }) : t("walk-count-looked", { n: tally.n, unit: words.unit })}</p>
        <p>{t("walk-count-hits", { hits: tally.hits, what: words.what })}</p>
        <p class="hint">{levelText(programme)}</p>
      </div>
      <div class="count-taps">
        <button type="button" class="big" onClick={() => tapOn(1, 0)}>
          <span aria-hidden="true">+1 </span>
          {t(share ? "walk-count-clean" : "walk-count-next")}
        </button>
        <button type="button" class="big hit" onClick={() => tapOn(share ? 1 : 0, 1)}>
          <span aria-hidden="true">+1 </span>
          {t(share ? "walk-count-hit" : "walk-count-found")}
        </button>
      </div>
      {tally.n > 0 && <Weighed api={api} programme={programme} tally={tally} />}
      <div class="buttons">
        <button type="button" class="big" disabled={before.current.length === 0} onClick={back}>
          {t("walk-count-back")}
        </button>
        {tally.n > 0 && (
          <button
            type="button"
            class="big"
            onClick={() => {
              before.current.push(tally);
              enter(noTally);
            }}
          >
            {t("walk-count-anew")}
          </button>
        )}
      </div>
      {problem !== null && <ProblemNote problem={problem} />}
      <details>
        <summary>{t("walk-count-more")}</summary>
        {words.note && <p>{words.note}</p>}
        <p class="hint">{words.source}</p>
      </details>
      <MainAction
        label={tally.n > 0 ? t("walk-count-keep", { hits: tally.hits, n: tally.n }) : t("walk-count-keep-none")}
        run={() => void keep()}
        blocked={blocked}
        busy={busy}
      />
    </section>
  );
}

function levelText(p: Programme): string {
  if (p.any) return t("walk-count-level-any");
  return p.level === null ? t("walk-count-level-none") : t("walk-count-level", { level: shown(p, p.level) });
}

/** A rate as people read it: a share in percent, a mean a look as it is. */
function shown(p: Programme, rate: number): string {
  return p.method === "poisson" ? number(rate, 3) : `${number(100 * rate, rate < 0.01 && rate > 0 ? 2 : 1)} %`;
}

// Quick taps ask once.
const settleMs = 700;

/** What the count says: this phone's preview at once, the server's answer when it has come. */
function Weighed({ api, programme, tally }: { api: Client; programme: Programme; tally: Tally }) {
  const t = useText();
  const lang = useSignal(language);
  const [answer, setAnswer] = useState<CountAnswer | null>(null);
  const [problem, setProblem] = useState<unknown>(null);
  useEffect(() => {
    const stop = new AbortController();
    const timer = setTimeout(() => {
      new Fieldwork(api).weigh(programme.id, tally.n, tally.hits, { signal: stop.signal }).then(
        (got) => {
          setAnswer(got);
          setProblem(null);
        },
        (thrown: unknown) => {
          if (!stop.signal.aborted) setProblem(asProblem(thrown).offline ? null : thrown);
        },
      );
    }, settleMs);
    return () => {
      clearTimeout(timer);
      stop.abort();
    };
  }, [api, programme.id, tally, lang]);
  const told = answer && answer.n === tally.n && answer.hits === tally.hits ? answer : null;
  const preview = told ? null : weigh(programme, tally);
  if (!told && !preview) return <p>{t("walk-count-too-large")}</p>;
  const [low, high] = (told ?? preview!).interval;
  const figures = told ? { answer: told.answer, rate: told.rate, ifClean: told.more.if_clean, ifAllHits: told.more.if_all_hits } : preview!;
  const excludes = told ? told.excludes : excludesText(programme, tally.n, preview!);
  return (
    <div class="count-answer" aria-live="polite">
      <p>
        <span aria-hidden="true">{{ above: "▲", below: "▼", "cannot-tell": "◇" }[figures.answer]} </span>
        <strong>{told ? told.says : t(`walk-count-${figures.answer}`)}</strong>
      </p>
      <p>{t("walk-count-limits", { rate: shown(programme, figures.rate), sureness: 100 * programme.sureness, low: shown(programme, low), high: shown(programme, high) })}</p>
      {excludes && <p>{excludes}</p>}
      {figures.ifClean !== null && <p>{t("walk-count-if-clean", { n: figures.ifClean })}</p>}
      {figures.ifAllHits !== null && <p>{t("walk-count-if-hits", { n: figures.ifAllHits })}</p>}
      {problem !== null && <ProblemNote problem={problem} />}
      {told ? (
        <details>
          <summary>
            {t("walk-count-server")} {t("core-how")}
          </summary>
          <p class="hint">{told.how}</p>
        </details>
      ) : (
        <p class="hint">{t("walk-count-preview")}</p>
      )}
      <Caution>{t("walk-count-caution")}</Caution>
    </div>
  );
}

function excludesText(p: Programme, n: number, { excludes }: Preview): string | null {
  if (excludes === null) return null;
  const common = { n, unit: p.texts[language.get()].unit, sureness: 100 * p.sureness };
  const least = roundedUp(100 * excludes);
  return p.method === "poisson" ? t("walk-count-excludes-mean", { ...common, per: least }) : t("walk-count-excludes", { ...common, percent: least });
}
