/** What must have some value to reckon with, said or not. In this order. */
export const assumable = ["hopperCapacity", "portionMass", "battery"] as const;
export type Assumed = (typeof assumable)[number];

/** Whether nobody has said it, so that the usual stands for it. */
export const isAssumed = ({ assumed = [] }: { readonly assumed?: readonly Assumed[] }, what: Assumed): boolean =>
  assumed.includes(what);
