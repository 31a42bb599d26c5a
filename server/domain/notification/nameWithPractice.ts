/** A feeder's name as its titles begin: what is only practised says so wherever it is told. */
export const nameWithPractice = ({ name, practice }: { readonly name: string; readonly practice: boolean }): string =>
  `${practice ? "Practice – " : ""}${name}`;
