import { useEffect, useState } from "preact/hooks";
import { kept } from "../../model/signal";
import { useSignal } from "../../ui/hooks";
import type { Fix } from "./find";

export type FixState = "off" | "waiting" | "fixed" | "denied";

const gpsKept = kept("caneward.walk.gps", ["off", "on"], "off");

/** Whether the position runs: kept on the device, so that it runs again when the page is opened. */
export function useGps(): [boolean, (on: boolean) => void] {
  return [useSignal(gpsKept) === "on", (on) => gpsKept.set(on ? "on" : "off")];
}

export interface RunningFix {
  readonly state: FixState;
  readonly fix: Fix | null;
}

/** The running position of the device while `on`: the newest fix with its age, never waited for. */
export function useFix(on: boolean): RunningFix {
  const [fix, setFix] = useState<Fix | null>(null);
  const [denied, setDenied] = useState(false);
  useEffect(() => {
    if (!on) return;
    if (!("geolocation" in navigator)) {
      setDenied(true);
      return;
    }
    const watch = navigator.geolocation.watchPosition(
      (p) => {
        setDenied(false);
        setFix({ at: [p.coords.longitude, p.coords.latitude], accuracyM: p.coords.accuracy, takenAt: p.timestamp });
      },
      () => setDenied(true),
      { enableHighAccuracy: true, maximumAge: 0 },
    );
    return () => navigator.geolocation.clearWatch(watch);
  }, [on]);
  if (!on) return { state: "off", fix: null };
  if (fix) return { state: "fixed", fix };
  return { state: denied ? "denied" : "waiting", fix: null };
}

/** The time, told anew every `everyMs` while the component stands. */
export function useNow(everyMs: number): number {
  const [now, setNow] = useState(Date.now);
  useEffect(() => {
    const timer = setInterval(() => setNow(Date.now()), everyMs);
    return () => clearInterval(timer);
  }, [everyMs]);
  return now;
}
