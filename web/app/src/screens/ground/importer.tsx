import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { type ImportKind, importKinds, type Proposal, type Proposed, type Said } from "../../api/imports";
import { asProblem, Problem } from "../../api/problem";
import { language } from "../../i18n";
import { MainAction } from "../../ui/action";
import { Choice } from "../../ui/form";
import { useSignal, useText } from "../../ui/hooks";
import { Caution, Mark, ProblemNote } from "../../ui/notes";
import { say } from "../../ui/undo";
import type { PlaceProps } from "../place";
import { agreed, isTaken, lacks } from "./import/agree";
import { ColumnTable, type ReadAgain } from "./import/columns";
import { FileField } from "./import/filefield";
import { ForAllFields } from "./import/forall";
import { numbered, ofFile } from "./import/onmap";
import { ImportProgress } from "./import/progress";
import { byTopic, OneQuestion } from "./import/questions";
import { SaidList } from "./import/said";
import { Shapes } from "./import/shapes";
import { offerUndo } from "./import/stored";
import { type ImportWork, workOf } from "./import/work";

/** Reads a file, shows what it holds and what was mended, and stores what is agreed to. */
export function ImportSheet(props: PlaceProps) {
  const t = useText();
  const work = workOf(props.api.imports);
  const phase = useSignal(work.phase);
  const origin = useSignal(work.origin);
  const lang = useSignal(language);
  const told = useRef(lang);

  useEffect(() => {
    const leave = () => work.stop(true);
    window.addEventListener("pagehide", leave);
    return () => {
      window.removeEventListener("pagehide", leave);
      work.stop();
      // A refusal was read here; the next file begins without it.
      if (work.phase.get().step === "file") work.forget();
    };
  }, [work]);
  useEffect(() => {
    if (told.current !== lang) void work.retell();
    told.current = lang;
  }, [work, lang]);

  return (
    <>
      <p>
        <button type="button" class="link" onClick={() => props.go({ view: origin?.view })}>
          ← {t(origin ? "imports-round" : "ground-blocks")}
        </button>
      </p>
      <h1>{t(origin ? "imports-round-what" : "imports-title")}</h1>
      {phase.step === "file" && <ChooseFile {...props} work={work} />}
      {(phase.step === "sending" || phase.step === "reading") && (
        <ImportProgress
          phase={phase}
          onStop={() => {
            work.stop();
            say(t("imports-stopped"));
          }}
        />
      )}
      {phase.step === "proposed" && <ProposalView {...props} work={work} file={phase.file} proposal={phase.proposal} />}
    </>
  );
}

function ChooseFile({ farm, map, work }: PlaceProps & { work: ImportWork }) {
  const t = useText();
  const problem = useSignal(work.problem);
  const [file, setFile] = useState<File | null>(null);
  const [kind, setKind] = useState<ImportKind>(work.answers.kind ?? "blocks");
  return (
    <>
      <ProblemNote problem={problem} map={map} />
      <FileField
        file={file}
        onFile={(f) => {
          setFile(f);
          work.problem.set(null);
        }}
      />
      <KindChoice kind={kind} onKind={setKind} />
      <MainAction
        label={t("imports-read", { file: file?.name ?? "" })}
        run={() => file && void work.read(file, { kind, zone: farm.info.zone })}
        blocked={file ? undefined : t("imports-drop")}
      />
    </>
  );
}

function KindChoice({ kind, onKind }: { kind: ImportKind; onKind: (kind: ImportKind) => void }) {
  const t = useText();
  return <Choice label={t("imports-kind")} value={kind} onValue={onKind} choices={importKinds.map((k) => ({ value: k, label: t(`imports-as-${k}`) }))} id="import-kind" />;
}

/** The same file taken as something else: a list alone must not start the reading. */
function KindAgain({ kind, again }: { kind: ImportKind; again: ReadAgain }) {
  const t = useText();
  const [other, setOther] = useState(kind);
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        again({ kind: other });
      }}
    >
      <KindChoice kind={other} onKind={setOther} />
      {other !== kind && (
        <div class="buttons">
          <button type="submit">{t("imports-apply")}</button>
        </div>
      )}
    </form>
  );
}

type ProposedProps = PlaceProps & { readonly work: ImportWork; readonly file: string; readonly proposal: Proposal };

const none: readonly Proposed[] = [];

function ProposalView(props: ProposedProps) {
  const t = useText();
  const { farm, map, go, work, file, proposal } = props;
  const problem = useSignal(work.problem);
  const choices = useSignal(work.choices);
  const all = useSignal(work.all);
  const origin = useSignal(work.origin);
  const heading = useRef<HTMLHeadingElement>(null);
  // Of a file that could be read in part only, the part is not offered.
  const shapes = (proposal.state === "proposed" && proposal.features) || none;
  const again: ReadAgain = (answers) => void work.answer(answers);
  const notices = useMemo(() => ofFile(proposal.notices ?? [], shapes), [proposal]);
  const errors = useMemo(() => ofFile(proposal.errors ?? [], shapes), [proposal]);
  const [refusal, refused] = useMemo(() => apart(problem), [problem]);
  const fileSaid = useMemo(() => [...refused, ...errors, ...notices], [refused, errors, notices]);
  useEffect(() => {
    heading.current?.focus();
    map.fit(shapes.map((s) => s.feature.geometry ?? s.as_read ?? null));
  }, [map, work]);
  const marks = numbered(fileSaid, 0);
  const backTo = (view: string) => {
    work.forget();
    go({ view });
  };
  return (
    <>
      <h2 ref={heading} tabIndex={-1}>
        {shapes.length > 0 ? t("imports-found", { file, n: shapes.length }) : t(proposal.questions?.length ? "imports-open" : "imports-none", { file })}
      </h2>
      <p class="import-file">
        {proposal.format && t("imports-format", { format: proposal.format })}{" "}
        {origin ? (
          <button type="button" onClick={() => backTo(origin.view)}>
            {t("imports-round-on")}
          </button>
        ) : (
          <button type="button" onClick={() => work.forget()}>
            {t("imports-other-file")}
          </button>
        )}
      </p>
      {origin && shapes.length === 0 && proposal.kind === "blocks" && !proposal.questions?.length && <p>{t("imports-round-open")}</p>}
      {origin && shapes.length > 0 && <Caution>{t("imports-round-caution")}</Caution>}
      <ProblemNote problem={refusal} />
      <SaidList items={marks.slice(0, refused.length)} map={map} />
      {proposal.problem && (
        <p class="problem">
          <Mark answer="stop" /> {proposal.problem}
        </p>
      )}
      <KindAgain key={proposal.kind} kind={proposal.kind} again={again} />
      <Questions {...props} again={again} />
      {errors.length > 0 && <h3>{t("imports-errors")}</h3>}
      <SaidList items={marks.slice(refused.length, refused.length + errors.length)} map={map} />
      {notices.length > 0 && <h3>{t("imports-notices")}</h3>}
      <SaidList items={marks.slice(refused.length + errors.length)} map={map} />
      {shapes.length > 0 && (
        <Shapes shapes={shapes} kind={proposal.kind} choices={choices} onChoices={work.choices.set} all={all} map={map} ofFile={fileSaid}>
          <ForAllFields kind={proposal.kind} farm={farm} all={all} onAll={work.all.set} />
        </Shapes>
      )}
      {shapes.length > 0 && <StoreAction {...props} shapes={shapes} />}
    </>
  );
}

/** A refusal, and apart from it what it says of single shapes: those are marked on the map beside everything else that is. */
function apart(thrown: unknown): [Problem | null, Said[]] {
  if (!thrown) return [null, []];
  const { errors, status, title, detail, logId } = asProblem(thrown);
  return [new Problem({ status, title, detail, id: logId }), errors.map((e) => ({ message: e.detail, fix: e.fix, key: e.key ?? "", at: e }))];
}

/** What the file does not say, topic by topic; a table's columns can be changed even when nothing is asked. */
function Questions({ proposal, map, again }: ProposedProps & { again: ReadAgain }) {
  const t = useText();
  const [open, setOpen] = useState(false);
  const asked = [...byTopic(proposal.questions ?? [])];
  const askedColumns = asked.some(([topic]) => topic === "columns");
  const { columns } = proposal;
  return (
    <>
      {asked.map(([topic, said]) =>
        topic === "other" || topic === "columns" ? (
          <section key={topic}>
            <h3>{t(`imports-question-${topic}`)}</h3>
            <SaidList items={said.map((s) => ({ said: s, mark: null }))} map={map} />
            {topic === "columns" && columns && <ColumnTable columns={columns} again={again} />}
          </section>
        ) : (
          <OneQuestion key={topic} topic={topic} said={said} map={map} again={again} />
        ),
      )}
      {columns && !askedColumns && (
        <section>
          <button type="button" aria-expanded={open} onClick={() => setOpen(!open)}>
            {t(open ? "imports-columns-keep" : "imports-columns-change")}
          </button>
          {open && <ColumnTable columns={columns} again={again} />}
        </section>
      )}
    </>
  );
}

function StoreAction({ farm, go, work, file, proposal, shapes }: ProposedProps & { shapes: readonly Proposed[] }) {
  const t = useText();
  const choices = useSignal(work.choices);
  const all = useSignal(work.all);
  const [storing, setStoring] = useState(false);
  const { kind } = proposal;
  const n = shapes.filter((s) => isTaken(choices.get(s.number))).length;
  const lack = lacks(kind, shapes, choices, all);
  const store = async () => {
    setStoring(true);
    const id = await work.store(agreed(kind, shapes, choices, all));
    setStoring(false);
    if (!id) return;
    offerUndo({ farm: farm.id, id, kind, n, file });
    go({ view: undefined });
    await farm.load(kind, true);
  };
  return <MainAction label={t(`imports-store-${kind}`, { n })} run={() => void store()} blocked={lack ? t(`imports-lacks-${lack.what}`, { n: String(lack.number) }) : undefined} busy={storing} />;
}
