import { useEffect, useRef, useState } from "preact/hooks";
import type { Proposal, Proposed, Said } from "../../api/client";
import { asProblem, Problem, readProblem } from "../../api/problem";
import { named } from "../../i18n";
import { surroundingsKinds } from "../../model/kinds";
import { MainAction } from "../../ui/action";
import { Check, Choice, TextField } from "../../ui/form";
import { useText, useUnits } from "../../ui/hooks";
import { Caution, ProblemNote, SaidItem } from "../../ui/notes";
import { say } from "../../ui/undo";
import { area } from "../../units";
import type { PlaceProps } from "../place";
import { agreed, type Choice as Chosen, firstChoices, type ImportKind, importKinds, lacks } from "./agree";

const formats = ".geojson,.json,.geojsonl,.ndjson,.geojsonseq,application/geo+json";
// A file of hundreds of shapes is agreed to as a whole; each of its lines would
// only hide the button.
const mostLines = 200;

/** Reads a file, shows what it holds and what was mended, and stores what is agreed to. */
export function ImportSheet({ farm, api, map, go }: PlaceProps) {
  const t = useText();
  const [file, setFile] = useState<File | null>(null);
  const [kind, setKind] = useState<ImportKind>("blocks");
  const [proposal, setProposal] = useState<Proposal | null>(null);
  const [choices, setChoices] = useState<ReadonlyMap<number, Chosen>>(new Map());
  const [problem, setProblem] = useState<unknown>(null);
  const [reading, setReading] = useState<AbortController | null>(null);
  const [storing, setStoring] = useState(false);

  useEffect(() => {
    if (!proposal) return;
    map.setOverlay(
      "import",
      proposal.features.filter((f) => choices.get(f.number)?.take).map((f) => ({ id: String(f.number), geometry: f.feature.geometry!, label: String(f.number) })),
      "preview",
    );
    const placed = [...proposal.notices, ...proposal.questions].filter((n) => n.at.position);
    map.setDefects(placed.map((n) => ({ at: n.at.position!, text: n.message })));
    return () => {
      map.setOverlay("import", null);
      map.setDefects(null);
    };
  }, [map, proposal, choices]);

  const choose = (f: File | null | undefined) => {
    if (!f) return;
    setFile(f);
    setProposal(null);
    setProblem(null);
  };
  const read = async () => {
    if (!file) return;
    const stop = new AbortController();
    setReading(stop);
    setProblem(null);
    try {
      const got = await api.proposeImport(file, kind, farm.info.zone, { signal: stop.signal });
      setProposal(got);
      setChoices(firstChoices(got));
      map.fit(got.features.map((f) => f.feature.geometry));
    } catch (thrown) {
      if (!stop.signal.aborted) setProblem(thrown);
    } finally {
      setReading(null);
    }
  };
  const store = async () => {
    if (!proposal?.id) return;
    setStoring(true);
    setProblem(null);
    try {
      const take = agreed(kind, choices);
      const { outcomes } = await api.storeImport(proposal.id, take);
      const refused = outcomes.filter((o) => o.status >= 400).map((o) => readProblem(o.problem, o.status));
      await farm.load(kind, true);
      if (refused.length > 0) {
        throw new Problem({ status: 422, title: t("ground-rows-partly", { done: take.length - refused.length, all: take.length }), errors: refused.flatMap((p) => p?.errors ?? []) });
      }
      say(t("ground-import-stored", { n: take.length }));
      go({ view: undefined });
    } catch (thrown) {
      setProblem(asProblem(thrown));
    } finally {
      setStoring(false);
    }
  };
  const count = [...choices.values()].filter((c) => c.take).length;
  return (
    <>
      <p>
        <button type="button" class="link" onClick={() => go({ view: undefined })}>
          ← {t("ground-blocks")}
        </button>
      </p>
      <h1>{t("ground-import-title")}</h1>
      <ProblemNote problem={problem} map={map} />
      {!proposal && <FileField file={file} onFile={choose} />}
      {!proposal && (
        <Choice
          label={t("ground-import-kind")}
          value={kind}
          onValue={setKind}
          choices={importKinds.map((k) => ({ value: k, label: t(`ground-import-as-${k}`) }))}
          id="ground-import-kind"
        />
      )}
      {reading && file && (
        <div role="status">
          <p>{t("ground-import-reading", { file: file.name })}</p>
          <progress />
          <div class="buttons">
            <button type="button" onClick={() => reading.abort()}>
              {t("core-stop")}
            </button>
          </div>
        </div>
      )}
      {proposal && (
        <>
          <p>
            <strong>{file?.name}</strong>
            {proposal.format ? ` (${proposal.format})` : ""}: {t("ground-import-found", { n: proposal.features.length })}.
          </p>
          <SaidList title={t("ground-import-questions")} said={proposal.questions} map={map} />
          {proposal.questions.length > 0 && <p>{t("ground-import-answer")}</p>}
          <SaidList title={t("ground-import-repairs")} said={proposal.notices} map={map} />
          {proposal.features.slice(0, mostLines).map((f, i) => (
            <OneShape
              key={f.number}
              shape={f}
              kind={kind}
              m2={kind === "blocks" ? proposal.blocks[i]?.area_m2 : undefined}
              choice={choices.get(f.number)}
              onChoice={(c) => setChoices(new Map(choices).set(f.number, c))}
              onShow={() => map.fit([f.feature.geometry])}
            />
          ))}
          <div class="buttons">
            <button type="button" onClick={() => setProposal(null)}>
              {t("ground-import-stop")}
            </button>
          </div>
        </>
      )}
      {proposal ? (
        proposal.id && <StoreAction kind={kind} choices={choices} count={count} busy={storing} run={() => void store()} />
      ) : (
        <MainAction label={t("ground-import-read", { file: file?.name ?? "" })} run={() => void read()} blocked={file ? undefined : t("ground-import-drop")} busy={reading !== null} />
      )}
    </>
  );
}

function StoreAction({ kind, choices, count, busy, run }: { kind: ImportKind; choices: ReadonlyMap<number, Chosen>; count: number; busy: boolean; run: () => void }) {
  const t = useText();
  const labels = { blocks: "ground-import-take", surroundings: "ground-import-take-near", tracks: "ground-import-take-tracks" } as const;
  const why = { none: "ground-import-choose", name: "ground-import-name-needed", kind: "ground-import-kind-needed" } as const;
  const lack = lacks(kind, choices);
  return <MainAction label={t(labels[kind], { n: count })} run={run} blocked={lack ? t(why[lack]) : undefined} busy={busy} />;
}

function FileField({ file, onFile }: { file: File | null; onFile: (f: File | null | undefined) => void }) {
  const t = useText();
  const [over, setOver] = useState(false);
  const input = useRef<HTMLInputElement>(null);
  return (
    <div
      class={over ? "drop over" : "drop"}
      onDragOver={(e) => {
        e.preventDefault();
        setOver(true);
      }}
      onDragLeave={() => setOver(false)}
      onDrop={(e) => {
        e.preventDefault();
        setOver(false);
        onFile(e.dataTransfer?.files[0]);
      }}
    >
      <div class="field">
        <label for="ground-file">{t("ground-import-file")}</label>
        <input id="ground-file" type="file" ref={input} accept={formats} aria-describedby="ground-file-hint" onChange={(e) => onFile(e.currentTarget.files?.[0])} />
        <p class="hint" id="ground-file-hint">
          {file ? file.name : t("ground-import-drop")}
        </p>
      </div>
      <p class="hint">{t("ground-import-hint")}</p>
    </div>
  );
}

function SaidList({ title, said, map }: { title: string; said: readonly Said[]; map: PlaceProps["map"] }) {
  if (said.length === 0) return null;
  return (
    <>
      <h2>{title}</h2>
      <ul>
        {said.map((s, i) => (
          <SaidItem key={i} item={{ ...s.at, detail: s.message, fix: s.fix }} map={map} />
        ))}
      </ul>
    </>
  );
}

interface OneShapeProps {
  readonly shape: Proposed;
  readonly kind: ImportKind;
  readonly m2: number | undefined;
  readonly choice: Chosen | undefined;
  readonly onChoice: (c: Chosen) => void;
  readonly onShow: () => void;
}

function OneShape({ shape, kind, m2, choice, onChoice, onShow }: OneShapeProps) {
  const t = useText();
  useUnits();
  if (!choice) return null;
  return (
    <fieldset>
      <legend>{choice.name || t("ground-import-unnamed")}</legend>
      <Check label={t("ground-import-take-this", { n: shape.number })} checked={choice.take} onChecked={(take) => onChoice({ ...choice, take })} />
      {m2 !== undefined && (
        <p>
          {t("ground-area")}: <strong>{area(m2)}</strong>
        </p>
      )}
      {shape.overlaps.map((o) => (
        <Caution key={o.block}>{t("ground-import-overlaps", { name: o.name, area: area(o.area_m2) })}</Caution>
      ))}
      {choice.take && (
        <>
          <TextField label={t("ground-name")} value={choice.name} onValue={(name) => onChoice({ ...choice, name })} optional={kind !== "blocks"} />
          {kind === "surroundings" && (
            <Choice
              label={t("ground-near-kind")}
              value={choice.kind}
              onValue={(k) => onChoice({ ...choice, kind: k })}
              choices={surroundingsKinds.map((k) => ({ value: k, label: named("ground-kind-", k) }))}
            />
          )}
        </>
      )}
      <button type="button" class="link" onClick={onShow}>
        {t("core-problem-show")}
      </button>
    </fieldset>
  );
}
