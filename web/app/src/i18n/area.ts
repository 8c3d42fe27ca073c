/** One text, or one for each plural form of `args.n`. Places for figures stand in braces: {name}. */
export type Entry = string | { readonly one: string; readonly other: string };

export interface Area<K extends string> {
  readonly en: Readonly<Record<K, Entry>>;
  readonly es: Readonly<Record<K, Entry>>;
}

/** The texts of one part of the page. A key without Spanish, or Spanish without its key, does not compile. */
export function area<const K extends string>(en: Record<K, Entry>, es: Record<NoInfer<K>, Entry>): Area<K> {
  return { en, es };
}
