const nestingMax = 32;
export const tooDeep = `must not nest deeper than ${nestingMax}`;

/** A value nested deeper than the stack allows could be read and not be written. Most events hold no list and no object at all. */
export function isTooDeep(value: unknown): boolean {
  let level: readonly unknown[] = [value];
  for (let depth = 0; depth <= nestingMax; depth += 1) {
    const inside: unknown[] = [];
    for (const one of level) {
      if (isNested(one)) for (const each of Object.values(one)) if (isNested(each)) inside.push(each);
    }
    if (inside.length === 0) return false;
    level = inside;
  }
  return true;
}

const isNested = (value: unknown): value is object => typeof value === "object" && value !== null;
