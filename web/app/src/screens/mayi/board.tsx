import { useEffect, useState } from "preact/hooks";
import { board, type BoardLine, type BoardPart, type Deed } from "../../api/mayi";
import type { MultiPolygon, Polygon, Position } from "../../geo/position";
import type { Shape } from "../../map/farmmap";
import { boxOf } from "../../geo/box";
import { moment, number } from "../../i18n";
import type { Stored } from "../../model/kinds";
import { useAsked } from "../../ui/asked";
import { Choice, TextField } from "../../ui/form";
import { useText } from "../../ui/hooks";
import { Caution, ProblemNote } from "../../ui/notes";
import { area } from "../../units";
import { zoned } from "../pass/zoned";
import type { PlaceProps } from "../place";
import "./mayi.css";

const shapes = { open: "✓", caution: "△", stop: "✕" } as const;
const looks = { open: "ok", caution: "caution", stop: "stop" } as const;

/** What may be done on every block, now or at a chosen time, and why not. */
export function MayIBoard({ farm, api, map, go, products }: PlaceProps & { readonly products: readonly Stored<"products">[] }) {
  const t = useText();
  const zone = farm.info.zone;
  const [local, setLocal] = useState("");
  const [product, setProduct] = useState("");
  const at = local ? (zoned(local, zone) ?? undefined) : undefined;
  const { now, problem, again } = useAsked((options) => board(api, { at, product }, options), [api, at, product]);
  useBoardMap(map, now?.blocks, farm);
  return (
    <section class="mayi" aria-labelledby="mayi-head">
      <h2 id="mayi-head">{t("mayi-title")}</h2>
      <div>
        <TextField label={t("mayi-at")} hint={t("mayi-at-hint", { zone })} type="datetime-local" optional value={local} onValue={setLocal} />
        <Choice
          label={t("mayi-product")}
          value={product}
          empty={t("mayi-product-none")}
          choices={products.map((p) => ({ value: p.id, label: p.feature.properties.name }))}
          onValue={setProduct}
        />
      </div>
      {problem !== null && <ProblemNote problem={problem} onRetry={again} />}
      {now && (
        <>
          <p class="hint" role="status">
            {t("mayi-shown", { time: moment(now.at, zone) })}
          </p>
          {now.owner_exempt && <p class="hint">{t("mayi-exempt")}</p>}
          {now.blocks.length === 0 && <p>{t("mayi-none")}</p>}
          <ul class="mayi-board">
            {[...now.blocks].sort(strictestFirst).map((line) => (
              <Line key={line.block} line={line} product={product} zone={zone} open={(id) => go({ view: `pass:${id}` })} />
            ))}
          </ul>
          <Caution>{now.caution}</Caution>
        </>
      )}
    </section>
  );
}

function Line({ line, product, zone, open }: { line: BoardLine; product: string; zone: string; open: (pass: string) => void }) {
  const t = useText();
  const sprays = line.parts.flatMap((p) => p.spray).filter((s) => s.product === product);
  const strictest = sprays.reduce<(typeof sprays)[number] | undefined>((worst, s) => (!worst || rank(s) > rank(worst) || (rank(s) === rank(worst) && (s.from ?? "") > (worst.from ?? "")) ? s : worst), undefined);
  return (
    <li>
      <h3>{line.name}</h3>
      <dl class="mayi-deeds">
        <dt>{t("mayi-enter")}</dt>
        <dd>
          <Word deed={line.enter} zone={zone} />
        </dd>
        <dt>{t("mayi-pick")}</dt>
        <dd>
          <Word deed={line.pick} zone={zone} />
        </dd>
        {strictest && (
          <>
            <dt>{t("mayi-spray", { product: strictest.name })}</dt>
            <dd>
              <Word deed={strictest} zone={zone} />
            </dd>
          </>
        )}
      </dl>
      <details>
        <summary>{t("mayi-why", { block: line.name })}</summary>
        {line.parts.map((part, i) => (
          <Part key={i} part={part} product={product} alone={line.parts.length === 1} zone={zone} open={open} />
        ))}
      </details>
    </li>
  );
}

/** What keeps people out stands first; the rest by name, as the server sent it. */
const strictestFirst = (a: BoardLine, b: BoardLine) => rank(b.enter) + rank(b.pick) - rank(a.enter) - rank(a.pick);

const rank = (d: Deed) => ["open", "caution", "stop"].indexOf(d.answer);

/** The answer with its word and shape; a stop says until when. */
function Word({ deed, zone }: { deed: Deed; zone: string }) {
  const t = useText();
  const until = deed.answer === "stop" ? (deed.from ? t("mayi-from", { time: moment(deed.from, zone) }) : t("mayi-no-clock")) : "";
  return (
    <span class={`word ${looks[deed.answer]}`}>
      <span aria-hidden="true">{shapes[deed.answer]}</span> {t(`mayi-${deed.answer}`)}
      {until && `, ${until}`}
    </span>
  );
}

function Part({ part, product, alone, zone, open }: { part: BoardPart; product: string; alone: boolean; zone: string; open: (pass: string) => void }) {
  const t = useText();
  const deeds: [string, Deed][] = [
    [t("mayi-enter"), part.enter],
    [t("mayi-pick"), part.pick],
    ...part.tasks.map((x): [string, Deed] => [t("mayi-task", { task: x.task }), x]),
    ...part.spray.filter((x) => x.product === product).map((x): [string, Deed] => [t("mayi-spray", { product: x.name }), x]),
  ];
  const said = deeds.filter(([, d]) => d.reasons.length > 0);
  return (
    <>
      <h4>{alone ? t("mayi-all") : t("mayi-part", { share: number(part.share * 100, 0), area: area(part.area_m2) })}</h4>
      {said.length === 0 && <p>{t("mayi-nothing")}</p>}
      {said.map(([name, deed]) => (
        <div key={name}>
          <p>
            {name}: <Word deed={deed} zone={zone} />
          </p>
          <ul>
            {deed.reasons.map((r, i) => (
              <li key={i}>
                {r.why} <span class="hint">{r.source}.</span>
              </li>
            ))}
          </ul>
        </div>
      ))}
      {part.passes.map((id) => (
        <button key={id} type="button" class="link" onClick={() => open(id)}>
          {t("mayi-open-pass")}
        </button>
      ))}
    </>
  );
}

/** A place for the word under the block's own label: in the middle, a sixth of its height from its lower edge. */
function below(geometry: Polygon | MultiPolygon): Position {
  const [west, south, east, north] = boxOf([geometry]) ?? [0, 0, 0, 0];
  return [(west + east) / 2, south + (north - south) / 6];
}

/** Colours every block, or part of one, by whether it may be entered: hatch and word beside the colour. */
function useBoardMap(map: PlaceProps["map"], lines: readonly BoardLine[] | undefined, farm: PlaceProps["farm"]): void {
  const t = useText();
  useEffect(() => {
    if (!lines) return;
    const words: Shape[] = [];
    const by: Record<Deed["answer"], Shape[]> = { open: [], caution: [], stop: [] };
    for (const line of lines) {
      const whole = farm.find("blocks", line.block)?.feature.geometry;
      for (const part of line.parts) {
        const geometry = part.geometry ?? whole;
        if (!geometry) continue;
        by[part.enter.answer].push({ geometry });
        const word = part.enter.answer === "open" ? shapes.open : `${shapes[part.enter.answer]} ${t(`mayi-${part.enter.answer}`)}`;
        words.push({ geometry: { type: "Point", coordinates: below(geometry) }, label: word });
      }
    }
    const names = ["open", "caution", "stop"] as const;
    for (const name of names) map.setOverlay(`mayi-${name}`, by[name], `may-${name}`);
    map.setOverlay("mayi-words", words, "words");
    return () => {
      for (const name of names) map.setOverlay(`mayi-${name}`, null);
      map.setOverlay("mayi-words", null);
    };
  }, [map, lines, farm, t]);
}
