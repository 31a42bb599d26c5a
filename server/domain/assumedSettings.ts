/** What must have some value to reckon with, said or not. In this order. */
export const assumableSettings = ["hopperCapacity", "portionMass", "battery"] as const;
export type AssumedSetting = (typeof assumableSettings)[number];

/** Whether nobody has said it, so that the usual stands for it. */
export const isAssumed = (
  { assumed = [] }: { readonly assumed?: readonly AssumedSetting[] },
  setting: AssumedSetting,
): boolean => assumed.includes(setting);
