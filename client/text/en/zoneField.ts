export const label = "Time zone";
export const hint = "Choose the nearest large city in your country.";
