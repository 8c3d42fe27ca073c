import { useEffect, useRef, useState } from "preact/hooks";
import { type Fix, fixOf } from "./recording";

/** Why no position comes: the page's address forbids it, the person does, or the sky. */
export type Trouble = "insecure" | "missing" | "denied" | "no-position";

/** What this device lacks to tell its position at all. */
export function lacking(): Trouble | null {
  if (!window.isSecureContext) return "insecure";
  return "geolocation" in navigator ? null : "missing";
}

/** Hears every position of the device while `on`; what kept the last ones from coming stands until it is turned on anew. */
export function useFixes(on: boolean, heard: (fix: Fix) => void): Trouble | null {
  const [trouble, setTrouble] = useState<Trouble | null>(null);
  const latest = useRef(heard);
  latest.current = heard;
  useEffect(() => {
    if (!on) return;
    setTrouble(null);
    const lack = lacking();
    if (lack) {
      setTrouble(lack);
      return;
    }
    const watch = navigator.geolocation.watchPosition(
      (p) => {
        setTrouble(null);
        latest.current(fixOf(p));
      },
      (e) => setTrouble(e.code === e.PERMISSION_DENIED ? "denied" : "no-position"),
      { enableHighAccuracy: true, maximumAge: 0 },
    );
    return () => navigator.geolocation.clearWatch(watch);
  }, [on]);
  return trouble;
}

/** Keeps the screen lit while `on`; "no" where the browser cannot, or will not. */
export function useAwake(on: boolean): "off" | "yes" | "no" {
  const [awake, setAwake] = useState<"off" | "yes" | "no">("off");
  useEffect(() => {
    setAwake("off");
    if (!on) return;
    let lock: WakeLockSentinel | null = null;
    let ended = false;
    const ask = async () => {
      if (document.visibilityState !== "visible" || ended) return;
      try {
        const given = await navigator.wakeLock.request("screen");
        if (ended) {
          await given.release();
          return;
        }
        lock = given;
        setAwake("yes");
      } catch {
        if (!ended) setAwake("no");
      }
    };
    // The browser takes the lock away with each look at another page.
    const seen = () => void ask();
    document.addEventListener("visibilitychange", seen);
    void ask();
    return () => {
      ended = true;
      document.removeEventListener("visibilitychange", seen);
      void lock?.release();
    };
  }, [on]);
  return awake;
}
