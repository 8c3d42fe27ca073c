/**
 * Wall time in a zone to RFC 3339 with that zone's offset. Null for a time the
 * clocks jump over, or what is no time at all; of the two readings of a
 * repeated hour the first is taken.
 */
export function zoned(local: string, zone: string): string | null {
  const m = /^(\d{4})-(\d{2})-(\d{2})T(\d{2}):(\d{2})(?::(\d{2}))?$/.exec(local);
  if (!m) return null;
  const [y, mo, d, h, mi, s] = [m[1], m[2], m[3], m[4], m[5], m[6] ?? "0"].map(Number) as [
    number, number, number, number, number, number,
  ];
  const asUtc = Date.UTC(y, mo - 1, d, h, mi, s);
  const day = 24 * 3600_000;
  const offsets = [offsetMs(asUtc - day, zone), offsetMs(asUtc + day, zone)].sort((a, b) => b - a);
  const offset = offsets.find((o) => offsetMs(asUtc - o, zone) === o);
  if (offset === undefined) return null;
  const wall = new Date(asUtc).toISOString().slice(0, 19);
  if (wall.slice(0, 16) !== local.slice(0, 16)) return null;
  return wall + offsetText(offset);
}

/** An instant as wall time of a zone, for a field of type datetime-local. */
export function wallTime(instant: string | number, zone: string): string {
  const ms = typeof instant === "number" ? instant : Date.parse(instant);
  if (!Number.isFinite(ms)) return "";
  return new Date(ms + offsetMs(ms, zone)).toISOString().slice(0, 16);
}

// Making one costs a phone a millisecond, and a list of finds asks for hundreds.
const clocks = new Map<string, Intl.DateTimeFormat>();

function clockOf(zone: string): Intl.DateTimeFormat {
  let clock = clocks.get(zone);
  if (!clock) {
    clock = new Intl.DateTimeFormat("en-US", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric",
      hour: "numeric", minute: "numeric", second: "numeric",
    });
    clocks.set(zone, clock);
  }
  return clock;
}

/** How far a zone's clocks are ahead of UTC at an instant, milliseconds. */
function offsetMs(instant: number, zone: string): number {
  const parts = clockOf(zone).formatToParts(instant);
  const part = (type: string) => Number(parts.find((p) => p.type === type)?.value);
  const wall = Date.UTC(part("year"), part("month") - 1, part("day"), part("hour"), part("minute"), part("second"));
  return wall - Math.floor(instant / 1000) * 1000;
}

function offsetText(ms: number): string {
  const minutes = Math.abs(ms) / 60_000;
  const two = (n: number) => String(Math.floor(n)).padStart(2, "0");
  return `${ms < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}
