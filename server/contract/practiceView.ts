/** The practice yard that lives a whole training programme. */
export interface PracticeProgrammeView {
  readonly yard: string;
  /** `stopped`: by a keeper; `interrupted`: by a restart of the server. Both stand at a part of the programme. */
  readonly phase: "living" | "ended" | "stopped" | "interrupted";
  /** How far it is, as text. */
  readonly text: string;
  readonly lived: number; // percent of its days
}
