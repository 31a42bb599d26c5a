export const title = "How much may it be?";
export const hint =
  "Count the birds that come, and be careful with the number: too few birds is the safer guess. The figure is a limit, not an aim.";
export const speciesLabels = {
  jackdaw: "Jackdaws",
  magpie: "Magpies",
  jay: "Jays",
  hoodedCrow: "Hooded crows",
  carrionCrow: "Carrion crows",
  rook: "Rooks",
  raven: "Ravens",
};
export const birdsUnit = "birds";
export const foodLabel = "Food";
export const energyLabel = "Energy, from its label";
export const energyUnit = "kJ/g";
export const calculateLabel = "Calculate";
export const birdsProblem = "Enter how many birds come.";
