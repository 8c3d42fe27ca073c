import { useEffect, useState } from "preact/hooks";
import { asProblem, Problem, readProblem } from "../api/problem";
import { moment, named, number, t as text } from "../i18n";
import type { FarmInfo } from "../model/farm";
import type { Stored } from "../model/kinds";
import type { Address } from "../model/address";
import { changes } from "../model/differ";
import { Cover } from "../ui/cover";
import { useSignal, useText } from "../ui/hooks";
import { Mark, ProblemNote } from "../ui/notes";
import { askToPersist, type Device, room } from "./device";
import { type ChangeEntry, type Entry, isChange } from "./entries";
import { unsentMostBytes } from "./unsent";
import type { Sync } from "./sync";

interface Props {
  readonly device: Device;
  readonly farms: readonly FarmInfo[];
  readonly onOpen: (to: Partial<Address>) => void;
  readonly onClose: () => void;
}

/** Everything that waits on this device, with what the server said of it. */
export function UnsentList({ device, farms, onOpen, onClose }: Props) {
  const t = useText();
  const { kept } = device;
  return (
    <Cover title={t("offline-list")} class="unsent" onClose={onClose}>
      <div class="unsent-head">
        <h1>{t("offline-list")}</h1>
        <button type="button" class="big" onClick={onClose}>
          {t("core-close")}
        </button>
      </div>
      {kept ? <Waiting device={device} sync={kept.sync} farms={farms} onOpen={onOpen} /> : <p>{t("offline-list-none")}</p>}
    </Cover>
  );
}

function Waiting({ device, sync, farms, onOpen }: Omit<Props, "onClose"> & { sync: Sync }) {
  const t = useText();
  const entries = useSignal(sync.entries);
  const sending = useSignal(sync.sending);
  const [problem, setProblem] = useState<unknown>(null);
  const attempt = (work: Promise<unknown>) => {
    setProblem(null);
    work.catch(setProblem);
  };
  return (
    <>
      <p>{t(entries.length === 0 ? "offline-list-none" : "offline-list-why")}</p>
      <p role="status">
        {sending.state === "sending" && t("offline-sending")}
        {sending.state === "later" && t("offline-later", { why: sending.said })}
        {sending.state === "sign-in" && t("offline-sign-in")}
      </p>
      {entries.length > 0 && (
        <div class="buttons">
          <button type="button" class="big main" onClick={() => sync.sendNow()}>
            {t("offline-send-now")}
          </button>
        </div>
      )}
      <ProblemNote problem={problem} />
      <ol class="unsent-list">
        {entries.map((e) => (
          <li key={e.n}>
            <Line entry={e} farm={farms.find((f) => f.id === e.farm)} />
            {e.held && <Held entry={e} sync={sync} attempt={attempt} onOpen={onOpen} />}
          </li>
        ))}
      </ol>
      <Files device={device} count={entries.length} setProblem={setProblem} />
      <Room />
    </>
  );
}

/** What an entry is, in words. */
export function entryName(e: ChangeEntry): string {
  const what = named("offline-kind-", e.kind);
  const p = (e.record?.properties ?? {}) as { row?: number; plant?: number };
  return p.row !== undefined && p.plant !== undefined ? text("offline-entry-plant", { what, row: String(p.row), plant: String(p.plant) }) : what;
}

function Line({ entry: e, farm }: { entry: Entry; farm: FarmInfo | undefined }) {
  const t = useText();
  const time = moment(e.made_at, farm?.zone);
  const line = isChange(e)
    ? t(e.op === "put" ? "offline-entry-put" : "offline-entry-delete", { what: entryName(e), time })
    : t("offline-entry-photo", { kb: number(e.bytes / 1000), time });
  return (
    <>
      {line}
      {e.attempts > 0 && <span class="soft"> · {t("offline-tried", { n: e.attempts })}</span>}
    </>
  );
}

function Held({ entry, sync, attempt, onOpen }: { entry: Entry; sync: Sync; attempt: (work: Promise<unknown>) => void; onOpen: Props["onOpen"] }) {
  const t = useText();
  const [sure, setSure] = useState(false);
  const held = entry.held!;
  if (held.sort === "conflict" && isChange(entry)) return <Conflict entry={entry} sync={sync} attempt={attempt} />;
  const to = isChange(entry) ? placeOf(entry) : null;
  return (
    <div class="unsent-held">
      <p>
        <Mark answer="stop">{t("offline-refused")}</Mark>
      </p>
      <ProblemNote problem={readProblem(held.problem, held.status) ?? new Problem({ status: held.status, title: `HTTP ${held.status}` })} />
      <div class="buttons">
        <button type="button" class="big" onClick={() => attempt(sync.mineAgain(entry))}>
          {t("offline-try-again")}
        </button>
        {to && (
          <button type="button" class="big" onClick={() => onOpen(to)}>
            {t("offline-open")}
          </button>
        )}
        {!sure && (
          <button type="button" class="big" onClick={() => setSure(true)}>
            {t("offline-drop")}
          </button>
        )}
      </div>
      {sure && (
        <div class="buttons">
          <p>{t("offline-drop-sure")}</p>
          <button type="button" class="big" onClick={() => attempt(sync.drop(entry))}>
            {t("offline-drop-yes")}
          </button>
          <button type="button" class="big" onClick={() => setSure(false)}>
            {t("core-cancel")}
          </button>
        </div>
      )}
    </div>
  );
}

/** Where the record can be put right. */
function placeOf(e: ChangeEntry): Partial<Address> | null {
  const block = (e.record?.properties as { block?: string } | undefined)?.block;
  if (e.kind === "finds") return { place: "disease", block, view: `find:${e.id}` };
  if (e.kind === "visits") return { place: "walk", block, view: undefined };
  return e.record ? { place: "papers", block: undefined, view: e.kind } : null;
}

function Conflict({ entry, sync, attempt }: { entry: ChangeEntry; sync: Sync; attempt: (work: Promise<unknown>) => void }) {
  const t = useText();
  const [theirs, setTheirs] = useState<Stored | null | undefined>(undefined);
  return (
    <div class="unsent-held">
      <p>
        <Mark answer="caution">{t("offline-conflict")}</Mark>
      </p>
      {theirs === undefined ? (
        <button type="button" class="big" onClick={() => attempt(sync.theirs(entry).then(setTheirs))}>
          {t("offline-compare")}
        </button>
      ) : (
        <Differences mine={entry} theirs={theirs} />
      )}
      <div class="buttons">
        <button type="button" class="big" onClick={() => attempt(sync.mineAgain(entry))}>
          {t("offline-mine-again")}
        </button>
        <button type="button" class="big" onClick={() => attempt(sync.takeTheirs(entry))}>
          {t("offline-take-theirs")}
        </button>
      </div>
    </div>
  );
}

const shown = (v: unknown) => (v === undefined ? "–" : typeof v === "string" ? v : JSON.stringify(v));

function Differences({ mine, theirs }: { mine: ChangeEntry; theirs: Stored | null }) {
  const t = useText();
  if (!theirs) return <p>{t("offline-conflict-closed")}</p>;
  if (!mine.record) return <p>{t("offline-conflict-closing")}</p>;
  const bare = ({ geometry, properties }: { geometry: unknown; properties: unknown }) => ({ geometry, ...(properties as object) });
  const list = changes(bare(mine.record), bare(theirs.feature));
  if (list.length === 0) return <p>{t("offline-conflict-same")}</p>;
  return (
    <table>
      <thead>
        <tr>
          <th scope="col">{t("offline-field")}</th>
          <th scope="col">{t("offline-mine")}</th>
          <th scope="col">{t("offline-theirs")}</th>
        </tr>
      </thead>
      <tbody>
        {list.map((c) => (
          <tr key={c.path}>
            <th scope="row" lang="en">
              {c.path}
            </th>
            <td>{shown(c.before)}</td>
            <td>{shown(c.after)}</td>
          </tr>
        ))}
      </tbody>
    </table>
  );
}

function Files({ device, count, setProblem }: { device: Device; count: number; setProblem: (p: unknown) => void }) {
  const t = useText();
  const [said, setSaid] = useState("");
  const give = async () => {
    const url = URL.createObjectURL(await device.unsentFile());
    const link = document.createElement("a");
    link.href = url;
    link.download = `unsent-${new Date().toISOString().slice(0, 10)}.json`;
    link.click();
    // The browser reads it after the click has been dealt with.
    setTimeout(() => URL.revokeObjectURL(url), 60_000);
  };
  const take = async (file: File | undefined) => {
    if (!file) return;
    setSaid("");
    setProblem(null);
    if (file.size > unsentMostBytes) return setProblem(new Problem({ status: 0, title: t("offline-file-too-large") }));
    const { taken, by } = await device.takeUnsent(await file.text());
    setSaid([t("offline-imported", { n: taken }), ...(by && taken > 0 ? [t("offline-imported-other", { who: by })] : [])].join(" "));
  };
  return (
    <section>
      <p class="hint">{t("offline-export-how")}</p>
      <div class="buttons">
        {count > 0 && (
          <button type="button" class="big" onClick={() => void give().catch((e: unknown) => setProblem(asProblem(e)))}>
            {t("offline-export")}
          </button>
        )}
        <label class="file-button">
          <span>{t("offline-import")}</span>
          <input
            type="file"
            accept="application/json,.json"
            onChange={(e) => {
              const input = e.currentTarget;
              void take(input.files?.[0]).catch((thrown: unknown) => setProblem(asProblem(thrown))).then(() => (input.value = ""));
            }}
          />
        </label>
      </div>
      <p role="status">{said}</p>
    </section>
  );
}

const mb = (bytes: number) => number(bytes / 1e6, bytes < 1e7 ? 1 : 0);

function Room() {
  const t = useText();
  const [now, setNow] = useState<{ used: number; of: number } | null>(null);
  const [safe, setSafe] = useState(false);
  useEffect(() => {
    void room().then(setNow);
    void askToPersist().then(setSafe);
  }, []);
  if (!now) return null;
  return (
    <p class="soft">
      {t("offline-room", { used: mb(now.used), of: mb(now.of) })} {t(safe ? "offline-room-kept" : "offline-room-loose")}
    </p>
  );
}
