import { useCallback, useEffect, useMemo, useRef, useState } from "preact/hooks";
import { FarmFigures } from "./api/figures";
import { asProblem } from "./api/problem";
import { Client, type Net, Sessions } from "./api/client";
import { day, language, moment } from "./i18n";
import { noMap } from "./map/nomap";
import type { DrawnMap } from "./map/olmap";
import { type Address, type PlaceName, placeNames, readAddress, writeAddress } from "./model/address";
import { Farm, type FarmInfo, type Who } from "./model/farm";
import { Device, oweSignOut, recallWho, rememberWho, signOutOwed } from "./offline/device";
import { halfEntered, watchVersions } from "./offline/update";
import { KeepNote } from "./ui/keepnote";
import { ClockNote, InsecureNote, VersionNote, WaitingButton } from "./offline/waitingline";
import { useFeed } from "./screens/feed";
import type { Go, Place } from "./screens/place";
import { loadPlace, placeNow } from "./screens/places";
import { ActionBar } from "./ui/action";
import { Cover } from "./ui/cover";
import { useRecords, useSignal, useText, useUnits } from "./ui/hooks";
import { MapKey } from "./ui/key";
import { MapBarPlace, mapBarUsed } from "./ui/mapbar";
import { MapCoverPlace, mapCoverUsed } from "./ui/mapcover";
import { mapDay } from "./ui/mapday";
import { ProblemNote } from "./ui/notes";
import { SaidLine } from "./ui/undo";
import { readBaseMap } from "./api/basemap";
import { LanguageChoice, UnitsChoice } from "./ui/settings";
import { SignIn } from "./ui/signin";
import { type SheetHeight, sheetHeights, useDrag } from "./ui/sheet";
import { waiting } from "./ui/waiting";

type Session = { state: "asking" } | { state: "out" } | { state: "failed"; failure: unknown } | { state: "in"; who: Who; device: Device };

/** What a place of the list of unsent work is fetched with, the first time it is opened. */
type ListOf = typeof import("./offline/unsentlist").UnsentList;

/** How long a sign-in that was put off is asked for by nothing but her own hand. */
const putOffMs = 60_000;

/** The whole page: who is signed in, which farm, and the frame around the places. */
export function App({ net }: { net: Net }) {
  const t = useText();
  const lang = useSignal(language);
  const sessions = useMemo(() => new Sessions(net), [net]);
  const [session, setSession] = useState<Session>({ state: "asking" });
  const [ended, setEnded] = useState(false);
  const [address, go, goFarm] = useAddress();

  useEffect(() => {
    document.documentElement.lang = lang;
  }, [lang]);
  const device = useRef<Device | null>(null);
  const putOff = () => {
    net.quietUntilMs = Date.now() + putOffMs;
    setEnded(false);
  };
  const enter = useCallback(
    async (who: Who) => {
      if (device.current?.person.id !== who.person.id) {
        device.current?.end();
        device.current = await Device.open(net, who.person);
      }
      setSession({ state: "in", who, device: device.current });
    },
    [net],
  );
  const ask = useCallback(async () => {
    try {
      if (signOutOwed()) {
        await settleSignOut(sessions);
        oweSignOut(false);
      }
      const who = await sessions.whoAmI();
      if (who) {
        rememberWho(who);
        await enter(who);
        device.current?.kept?.sync.signedIn();
        setEnded(false);
      } else if (device.current) setEnded(Date.now() >= net.quietUntilMs);
      else setSession({ state: "out" });
    } catch (failure) {
      // Without the server, who was here last goes on with what is here.
      if (!device.current) setSession({ state: "failed", failure });
    }
  }, [net, sessions, enter]);
  useEffect(() => {
    // What the page asks by itself must not undo that she put the sign-in off.
    net.onSignedOut = (askedMs) => askedMs >= net.quietUntilMs && void ask();
    void watchVersions();
    const last = signOutOwed() ? null : recallWho();
    void (last ? enter(last).then(ask) : ask());
  }, [net, ask, enter]);
  useEffect(() => halfEntered.set(false), [address]);

  if (session.state === "asking") return <p class="whole-note">{t("core-loading")}</p>;
  if (session.state === "failed") {
    return (
      <main class="whole-note">
        <ProblemNote problem={session.failure} onRetry={() => void ask()} />
      </main>
    );
  }
  if (session.state === "out") return <SignIn sessions={sessions} onDone={() => void ask()} />;
  const signOut = async () => {
    try {
      await sessions.signOut();
    } catch {
      // It is said when the server can be reached; here she is out now.
      oweSignOut(true);
    }
    rememberWho(null);
    await device.current?.signOut();
    device.current = null;
    setEnded(false);
    setSession({ state: "out" });
  };
  const farms = session.who.farms;
  const info = farms.find((f) => f.id === (address.farm ?? farms[0]?.id));
  if (!info) return <NoFarm asked={address.farm} farms={farms} device={session.device} goFarm={goFarm} signOut={() => void signOut()} />;
  return (
    <>
      <Frame key={`${session.who.person.id} ${info.id}`} net={net} info={info} who={session.who} device={session.device} address={{ ...address, farm: info.id }} go={go} goFarm={goFarm} signOut={() => void signOut()} />
      {ended && (
        <Cover title={t("core-sign-in-title")} onClose={putOff}>
          <SignIn sessions={sessions} ended onDone={() => void ask()} onLater={putOff} />
        </Cover>
      )}
    </>
  );
}

// A sign-in that has ended meanwhile is what was wanted.
async function settleSignOut(sessions: Sessions): Promise<void> {
  try {
    await sessions.signOut();
  } catch (thrown) {
    if (asProblem(thrown).status !== 401) throw thrown;
  }
}

function NoFarm(props: { asked: string | undefined; farms: readonly FarmInfo[]; device: Device; goFarm: (id: string) => void; signOut: () => void }) {
  const t = useText();
  const count = useSignal(waiting);
  const [List, setList] = useState<ListOf | null>(null);
  return (
    <main class="whole-note">
      <h1>{t("core-name")}</h1>
      <p>{props.asked ? t("core-unknown-farm", { farm: props.asked }) : t("core-no-farm")}</p>
      {props.farms.map((f) => (
        <button key={f.id} type="button" onClick={() => props.goFarm(f.id)}>
          {t("core-open-farm", { farm: f.name })}
        </button>
      ))}
      {count > 0 && (
        // Work for a farm one is no longer on can still be handed over, as a file.
        <button type="button" onClick={() => void import("./offline/unsentlist").then((m) => setList(() => m.UnsentList))}>
          {t("core-waiting-here")}: {t("core-waiting", { n: count })}
        </button>
      )}
      <button type="button" onClick={props.signOut}>
        {t("core-sign-out")}
      </button>
      {List && <List device={props.device} farms={props.farms} onClose={() => setList(null)} onOpen={() => setList(null)} />}
    </main>
  );
}

/** The address as state; go() adds a step to the history, Back takes it away. */
function useAddress(): [Address, Go, (farm: string) => void] {
  const [address, setAddress] = useState(() => readAddress(location.pathname, location.search));
  const latest = useRef(address);
  latest.current = address;
  const move = useCallback((next: Address, replace = false) => {
    const url = writeAddress(next);
    if (url === location.pathname + location.search) return;
    if (replace) history.replaceState(null, "", url);
    else history.pushState(null, "", url);
    latest.current = next;
    setAddress(next);
  }, []);
  useEffect(() => {
    const back = () => setAddress(readAddress(location.pathname, location.search));
    addEventListener("popstate", back);
    return () => removeEventListener("popstate", back);
  }, []);
  const go: Go = useCallback(
    (change, how) => {
      const was = latest.current;
      // Another place has views of its own.
      const view = change.place && change.place !== was.place && !("view" in change) ? { view: undefined } : {};
      move({ ...was, ...change, ...view }, how?.replace);
    },
    [move],
  );
  const goFarm = useCallback(
    (farm: string) => move({ farm, place: latest.current.place, block: undefined, season: latest.current.season, view: undefined }),
    [move],
  );
  return [address, go, goFarm];
}

interface FrameProps {
  readonly net: Net;
  readonly info: FarmInfo;
  readonly who: Who;
  readonly device: Device;
  readonly address: Address;
  readonly go: Go;
  readonly goFarm: (farm: string) => void;
  readonly signOut: () => void;
}

function Frame({ net, info, who, device, address, go, goFarm, signOut }: FrameProps) {
  const t = useText();
  const api = useMemo(() => new Client(net, info.id), [net, info.id]);
  const figures = useMemo(() => new FarmFigures(api), [api]);
  const farm = useMemo(() => new Farm(info, who, device.source(api)), [info.id, device, api]);
  const [map, setMap] = useState<DrawnMap | null>(null);
  const [height, setHeight] = useState<SheetHeight>("half");
  const [width, setWidth] = useState(420);
  const target = useRef<HTMLDivElement>(null);
  const content = useRef<HTMLDivElement>(null);
  const system = useUnits();

  useEffect(() => farm.end, [farm]);
  useEffect(() => {
    // They are counted by where there is no signal, whatever place was open where there was one.
    farm.ask("programmes", () => api.net.json(api.path("programmes"))).catch(() => undefined);
  }, [farm, api]);
  useEffect(() => {
    // The farm stands in the address from the first moment on, so that a link can be copied.
    if (location.pathname === "/") history.replaceState(null, "", writeAddress(address));
  }, [address]);
  useEffect(() => map?.setScaleUnits(system), [map, system]);
  useEffect(() => {
    document.title = `${t(`core-place-${address.place}`)} – ${info.name}`;
  }, [address.place, info.name, t]);
  useEffect(() => {
    content.current?.scrollTo(0, 0);
  }, [address.place, address.view, address.block]);
  const drawing = useSignal(mapBarUsed);
  const covered = useSignal(mapCoverUsed);
  useEffect(() => {
    if (!map) return;
    // Without a base map the outlines on white are the map.
    readBaseMap(net).then((base) => map.setBase(base), () => map.setBase(null));
  }, [net, map]);

  const [place, failure, again] = usePlace(address.place);
  const [mapFailure, setMapFailure] = useState<unknown>(null);
  const hasPlace = place !== undefined;
  const loadMap = useCallback(() => {
    let made: DrawnMap | null = null;
    let ended = false;
    setMapFailure(null);
    // The sheet first: what can be done comes before what can be seen.
    const timer = setTimeout(() => {
      void import("./map/olmap").then((drawn) => {
        if (ended) return;
        made = new drawn.DrawnMap(target.current!);
        setMap(made);
      }, setMapFailure);
    });
    return () => {
      ended = true;
      clearTimeout(timer);
      made?.end();
    };
  }, []);
  useEffect(() => (hasPlace ? loadMap() : undefined), [hasPlace, loadMap]);
  const opens = place?.opens ?? "half";
  useEffect(() => setHeight(drawing ? "low" : covered ? "half" : opens), [drawing, covered, opens]);
  const drawn = map ?? (place?.early ? noMap : null);
  useFeed(farm, figures, map, address);
  useFirstView(farm, map, address.block);
  return (
    <div class={`frame sheet-${height}`} ref={(el) => el?.style.setProperty("--sheet-width", `${width}px`)}>
      {info.invented && (
        <aside class="invented" aria-label={t("core-caution")}>
          {t("core-invented")}
        </aside>
      )}
      <TopLine api={api} info={info} who={who} device={device} address={address} go={go} goFarm={goFarm} signOut={signOut} />
      <section class="map-side" aria-label={t("core-map")}>
        <div class="map" ref={target} tabIndex={0} role="application" aria-label={t("core-map-keys")} />
        <MapBarPlace />
        {map && <MapTools map={map} farm={farm} address={address} />}
        <MapCoverPlace />
        <Splitter width={width} setWidth={setWidth} />
      </section>
      <main class="sheet">
        <SheetHandle height={height} setHeight={setHeight} />
        <div class="sheet-content" ref={content}>{failure ? (
            <ProblemNote problem={failure} onRetry={again} />
          ) : drawn && place ? (
            <place.Sheet farm={farm} api={api} figures={figures} map={drawn} address={address} go={go} />
          ) : mapFailure ? (
            <ProblemNote problem={mapFailure} onRetry={loadMap} />
          ) : (
            <p>{t("core-loading")}</p>
          )}</div>
        <div class="sheet-foot">
          <SaidLine />
          <ActionBar />
        </div>
      </main>
    </div>
  );
}

/** A link to a block opens on that block, once its outline is here. */
function useFirstView(farm: Farm, map: DrawnMap | null, block: string | undefined): void {
  const { list } = useRecords(farm, "blocks");
  const linked = useRef(block);
  useEffect(() => {
    const found = list.find((b) => b.id === linked.current);
    if (!map || !found) return;
    linked.current = undefined;
    map.fit([found.feature.geometry]);
  }, [map, list]);
}

/** The place by name, fetched the first time; what went wrong; and how to try again. */
function usePlace(name: PlaceName): [Place | undefined, unknown, () => void] {
  const [, redraw] = useState(0);
  const [failure, setFailure] = useState<unknown>(null);
  const load = useCallback(() => {
    setFailure(null);
    loadPlace(name).then(() => redraw((n) => n + 1), setFailure);
  }, [name]);
  useEffect(() => {
    if (!placeNow(name)) load();
    else setFailure(null);
  }, [name, load]);
  return [placeNow(name), failure, load];
}

function TopLine({ api, info, who, device, address, go, goFarm, signOut }: Omit<FrameProps, "net"> & { readonly api: Client }) {
  const t = useText();
  const [open, setOpen] = useState(false);
  const [List, setList] = useState<ListOf | null>(null);
  const [leaving, setLeaving] = useState(false);
  const openList = () => void import("./offline/unsentlist").then((m) => setList(() => m.UnsentList));
  const thisYear = new Date().getFullYear();
  const years = new Set(Array.from({ length: 6 }, (_, i) => String(thisYear - i)));
  if (address.season) years.add(address.season);
  return (
    <header class="top">
      <div class="top-farm">
        {who.farms.length > 1 ? (
          <select aria-label={t("core-farm")} value={info.id} onChange={(e) => goFarm(e.currentTarget.value)}>
            {who.farms.map((f) => (
              <option key={f.id} value={f.id}>
                {f.name}
              </option>
            ))}
          </select>
        ) : (
          <strong title={info.name}>{info.name}</strong>
        )}
        <WaitingButton onOpen={openList} />
        <button type="button" class="top-more" aria-expanded={open} aria-controls="top-settings" onClick={() => setOpen(!open)}>
          {t("core-settings")}
        </button>
      </div>
      <nav class="top-places" aria-label={t("core-places")}>
        {placeNames.map((name) => (
          <a
            key={name}
            href={writeAddress({ ...address, place: name, view: undefined })}
            aria-current={name === address.place ? "page" : undefined}
            onClick={(e) => {
              if (e.ctrlKey || e.metaKey || e.shiftKey) return;
              e.preventDefault();
              go({ place: name, view: undefined });
            }}
          >
            {t(`core-place-${name}`)}
          </a>
        ))}
      </nav>
      <div class={open ? "top-settings open" : "top-settings"} id="top-settings">
        <select aria-label={t("core-season")} value={address.season ?? ""} onChange={(e) => go({ season: e.currentTarget.value || undefined })}>
          <option value="">{t("core-season-all")}</option>
          {[...years].sort().toReversed().map((y) => (
            <option key={y} value={y}>
              {y}
            </option>
          ))}
        </select>
        <LanguageChoice />
        <UnitsChoice />
        <span class="person" title={t(`core-role-${info.role}`)}>
          {who.person.display || who.person.name}
        </span>
        <button type="button" onClick={() => (waiting.get() > 0 ? setLeaving(true) : signOut())}>
          {t("core-sign-out")}
        </button>
      </div>
      <VersionNote />
      <ClockNote />
      <InsecureNote />
      <KeepNote api={api} zone={info.zone} />
      {leaving && <Leaving signOut={signOut} onStay={() => setLeaving(false)} />}
      {List && (
        <List
          device={device}
          farms={who.farms}
          onClose={() => setList(null)}
          onOpen={(to) => {
            setList(null);
            go(to);
          }}
        />
      )}
    </header>
  );
}

/** Says what signing out leaves unsent, before it is done. */
function Leaving({ signOut, onStay }: { signOut: () => void; onStay: () => void }) {
  const t = useText();
  const count = useSignal(waiting);
  return (
    <Cover title={t("offline-leave-title")} onClose={onStay}>
      <div class="whole-note">
        <h1>{t("offline-leave-title")}</h1>
        <p>{t("offline-leave", { n: count })}</p>
        <div class="buttons">
          <button type="button" class="big" onClick={onStay}>
            {t("core-cancel")}
          </button>
          <button type="button" class="big" onClick={signOut}>
            {t("offline-leave-yes")}
          </button>
        </div>
      </div>
    </Cover>
  );
}

function MapTools({ map, farm, address }: { map: DrawnMap; farm: Farm; address: Address }) {
  const t = useText();
  const [turn, setTurn] = useState(0);
  const [key, setKey] = useState(false);
  const blocks = useRecords(farm, "blocks");
  const finds = useRecords(farm, "finds");
  const earlier = useSignal(mapDay);
  useEffect(() => map.onTurn(setTurn), [map]);
  const chosen = blocks.list.find((b) => b.id === address.block) ?? (blocks.list.length === 1 ? blocks.list[0] : undefined);
  const bearing = chosen?.feature.properties.row_bearing_deg;
  const newest = Math.max(blocks.at, finds.at);
  return (
    <>
      <div class="map-tools">
        <button type="button" aria-label={t("core-zoom-in")} onClick={() => map.zoomBy(1)}>
          +
        </button>
        <button type="button" aria-label={t("core-zoom-out")} onClick={() => map.zoomBy(-1)}>
          −
        </button>
        <button type="button" class="north" aria-label={t("core-turn-north")} title={t("core-turn-north")} onClick={() => map.north()}>
          <svg viewBox="0 0 32 40" width="32" height="40" aria-hidden="true" ref={(el) => el?.style.setProperty("transform", `rotate(${-turn}deg)`)}>
            <path d="M16 2 L23 22 L16 18 L9 22 Z" class="north-tip" />
            <text x="16" y="37" text-anchor="middle">
              {t("core-north")}
            </text>
          </svg>
        </button>
        {bearing !== undefined && (
          <button type="button" title={t("core-turn-rows")} aria-label={t("core-turn-rows")} onClick={() => map.turnTo(bearing)}>
            <svg viewBox="0 0 32 32" width="32" height="32" aria-hidden="true">
              <path d="M6 29V9M13 29V9M20 29V9M27 29V9M3 9l3-6 3 6" class="rows-up" />
            </svg>
          </button>
        )}
        <button type="button" title={t("core-whole-farm")} aria-label={t("core-whole-farm")} onClick={() => map.fit()}>
          <svg viewBox="0 0 32 32" width="32" height="32" aria-hidden="true">
            <path d="M4 11V4h7M21 4h7v7M28 21v7h-7M11 28H4v-7" class="rows-up" />
          </svg>
        </button>
        <button type="button" aria-expanded={key} aria-label={t("core-key")} title={t("core-key")} onClick={() => setKey(!key)}>
          ?
        </button>
      </div>
      {key && <MapKey onClose={() => setKey(false)} />}
      {earlier !== null && <p class="map-date">{t("core-shown-as-of", { day: day(earlier) })}</p>}
      {earlier === null && newest > 0 && <p class="map-date">{t("core-shown-on", { date: moment(new Date(newest).toISOString(), farm.info.zone) })}</p>}
    </>
  );
}

const narrowest = 380;
const widest = 460;

function Splitter({ width, setWidth }: { width: number; setWidth: (w: number) => void }) {
  const t = useText();
  const set = (w: number) => setWidth(Math.min(widest, Math.max(narrowest, Math.round(w))));
  const drag = useDrag((x) => set(document.documentElement.clientWidth - x));
  return (
    <div
      class="splitter"
      role="separator"
      aria-orientation="vertical"
      aria-label={t("core-resize")}
      aria-valuenow={width}
      aria-valuemin={narrowest}
      aria-valuemax={widest}
      tabIndex={0}
      {...drag}
      onKeyDown={(e) => {
        if (e.key === "ArrowLeft") set(width + 20);
        if (e.key === "ArrowRight") set(width - 20);
      }}
    />
  );
}

function SheetHandle({ height, setHeight }: { height: SheetHeight; setHeight: (h: SheetHeight) => void }) {
  const t = useText();
  const at = sheetHeights.indexOf(height);
  const step = (by: number) => setHeight(sheetHeights[Math.min(sheetHeights.length - 1, Math.max(0, at + by))]!);
  const drag = useDrag((_, y, done) => {
    if (!done) return;
    const share = 1 - y / document.documentElement.clientHeight;
    setHeight(share > 0.66 ? "full" : share > 0.33 ? "half" : "low");
  });
  return (
    <div class="sheet-handle" role="group" aria-label={t("core-sheet-height")}>
      <button type="button" aria-label={t("core-show-map")} disabled={at === 0} onClick={() => step(-1)}>
        ▼
      </button>
      <span class="grip" {...drag} />
      <button type="button" aria-label={t("core-show-sheet")} disabled={at === sheetHeights.length - 1} onClick={() => step(1)}>
        ▲
      </button>
    </div>
  );
}
