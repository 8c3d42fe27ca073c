import { signal } from "../model/signal";

/** How many records wait on this device to be sent; whoever keeps the outbox sets it. */
export const waiting = signal(0);
