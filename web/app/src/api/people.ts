import type { Role, Who } from "../model/farm";
import type { Client, Net, Options } from "./client";

export interface Limits {
  readonly blocks?: readonly string[];
  readonly seasons?: readonly number[];
}

export interface Member {
  readonly id: string;
  readonly name: string;
  readonly display: string;
  readonly role: Role;
  readonly limits?: Limits;
  readonly second_factor: boolean;
  readonly you: boolean;
}

export interface Grant {
  readonly id: string;
  readonly name: string;
  readonly person?: { readonly display: string };
  readonly role?: Role;
  readonly limits?: Limits;
  readonly writes: boolean;
  readonly created: string;
  readonly expires: string;
  readonly used?: string;
  readonly state: "open" | "used" | "ended" | "expired";
}

export interface Made extends Grant {
  /** Shown this once. */
  readonly secret: string;
}

export interface Invitation {
  readonly farm: string;
  readonly role: Role;
  readonly by: string;
  /** Names; absent: the whole farm. */
  readonly blocks?: readonly string[];
  readonly seasons?: readonly number[] | null;
  readonly expires: string;
}

export interface Account {
  readonly sessions: readonly { readonly id: string; readonly since: string; readonly agent: string; readonly current: boolean }[];
  readonly second_factor: { readonly on: boolean; readonly recovery_codes: number };
}

const json = { "Content-Type": "application/json" };
const sent = (method: string, body: unknown) => ({ method, body: JSON.stringify(body), headers: json });

/** Who is on a farm, and what they were handed. */
export class People {
  readonly #net: Net;
  readonly #api: Client;
  constructor(api: Client) {
    this.#api = api;
    this.#net = api.net;
  }
  list(options: Options = {}): Promise<{ people: readonly Member[]; invitations: readonly Grant[] }> {
    return this.#net.json(this.#api.path("people"), options);
  }
  change(id: string, role: Role, limits: Limits): Promise<Member> {
    return this.#net.json(this.#api.path(`people/${id}`), sent("PATCH", { role, limits }));
  }
  async remove(id: string): Promise<void> {
    await this.#net.ask(this.#api.path(`people/${id}`), { method: "DELETE" });
  }
  async leave(): Promise<void> {
    await this.#net.ask(this.#api.path("membership"), { method: "DELETE" });
  }
  invite(name: string, role: Role, limits: Limits): Promise<Made> {
    return this.#net.post(this.#api.path("invitations"), { name, role, limits });
  }
  async endInvitation(id: string): Promise<void> {
    await this.#net.ask(this.#api.path(`invitations/${id}`), { method: "DELETE" });
  }
  reset(id: string): Promise<Made> {
    return this.#net.json(this.#api.path(`people/${id}/reset`), { method: "POST" });
  }
  tokens(options: Options = {}): Promise<{ tokens: readonly Grant[] }> {
    return this.#net.json(this.#api.path("tokens"), options);
  }
  makeToken(name: string, writes: boolean, days: number): Promise<Made> {
    return this.#net.post(this.#api.path("tokens"), { name, writes, days });
  }
  async endToken(id: string): Promise<void> {
    await this.#net.ask(this.#api.path(`tokens/${id}`), { method: "DELETE" });
  }
  account(options: Options = {}): Promise<Account> {
    return this.#net.json("/account", options);
  }
  async endSession(id: string): Promise<void> {
    await this.#net.ask(`/account/sessions/${id}`, { method: "DELETE" });
  }
  async setPassword(password: string, next: string): Promise<void> {
    await this.#net.ask("/account/password", sent("PUT", { password, new: next }));
  }
  beginCodes(password: string): Promise<{ address: string; key: string }> {
    return this.#net.post("/account/second-factor", { password });
  }
  finishCodes(code: string): Promise<{ recovery: readonly string[] }> {
    return this.#net.json("/account/second-factor", sent("PUT", { code }));
  }
  async endCodes(password: string): Promise<void> {
    await this.#net.ask("/account/second-factor/off", sent("POST", { password }));
  }
}

/** What somebody can do with a link alone. */
export class Links {
  readonly #net: Net;
  constructor(net: Net) {
    this.#net = net;
  }
  look(secret: string): Promise<Invitation> {
    return this.#net.post("/invitations/look", { secret });
  }
  accept(secret: string, newcomer: { name: string; display: string; password: string } | null): Promise<Who> {
    return this.#net.post("/invitations/accept", { secret, ...newcomer });
  }
  async reset(secret: string, password: string): Promise<void> {
    await this.#net.ask("/resets", sent("POST", { secret, password }));
  }
}
