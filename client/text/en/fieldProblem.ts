export const emptyText = "must not be empty";
export const atLeastText = (limit: string) => `must be at least ${limit}`;
export const atMostText = (limit: string) => `must be at most ${limit}`;
export const charactersText = (count: string) => `${count} characters`;
export const chooseOptionText = "choose one of the options";
export const wholeNumberText = "must be a whole number";
export const numberText = "must be a number";
