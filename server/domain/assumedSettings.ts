/** Settings that need a value for calculations, entered or not. In this order. */
export const assumableSettings = ["hopperCapacity", "portionMass", "battery"] as const;
export type AssumedSetting = (typeof assumableSettings)[number];

/** Whether it wasn't entered, so that a usual value is used. */
export const isAssumed = (
  { assumed = [] }: { readonly assumed?: readonly AssumedSetting[] },
  setting: AssumedSetting,
): boolean => assumed.includes(setting);
