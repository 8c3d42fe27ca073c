// RFC 9562, section 5.7, with method 1 of section 6.2: a counter of fixed
// length in rand_a and the top of rand_b. 12 bits ran over at 20,000 ids in one
// millisecond; 12 + 14 bits hold 67 million.
const counterTop = 2 ** 26;
// Half the space is left above the random start, so that the counter has room.
const startTop = 2 ** 25;

let lastMs = 0;
let counter = 0;

/**
 * A new UUID of version 7, lower case. Ids made by one page grow in byte order,
 * also within one millisecond and when the clock is set back; ids of two
 * devices do not order by time. Works without a secure context.
 */
export function uuid7(now: number = Date.now()): string {
  const random = crypto.getRandomValues(new Uint8Array(10));
  const ms = Math.trunc(now);
  if (ms > lastMs) {
    lastMs = ms;
    counter = (((random[0] ?? 0) << 16) | ((random[1] ?? 0) << 8) | (random[2] ?? 0)) * 2 + ((random[3] ?? 0) & 1);
    counter %= startTop;
  } else {
    counter += 1;
    if (counter >= counterTop) {
      counter = 0;
      lastMs += 1;
    }
  }
  const time = lastMs.toString(16).padStart(12, "0");
  const a = (counter >>> 14).toString(16).padStart(3, "0");
  const b = (0x8000 | (counter & 0x3fff)).toString(16);
  const rest = Array.from(random.slice(4), (n) => n.toString(16).padStart(2, "0")).join("");
  return `${time.slice(0, 8)}-${time.slice(8)}-7${a}-${b}-${rest}`;
}

const shape = /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;

/** Whether text is a UUID of version 7 in its lower-case form. */
export function isUuid7(text: string): boolean {
  return shape.test(text);
}
