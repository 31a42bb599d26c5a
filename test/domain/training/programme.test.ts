import { describe, expect, it } from "vitest";
import { type Instant, instantOf } from "../../../server/domain/instant.ts";
import {
  type ChangeContent,
  nextStage,
  type ProgrammeChange,
  parametersAt,
  periodAt,
  presentPeriod,
  previousStage,
  programmeOf,
} from "../../../server/domain/training/programme.ts";
import { readyStages } from "../../../server/domain/training/readyStages.ts";
import type { StageParameters } from "../../../server/domain/training/stage.ts";

const names = { comeForFood: "Come", pressForFood: "Press", nudgeCap: "Nudge", dropCap: "Drop", fetchCap: "Fetch" };
const stages = readyStages(names);
const day = (number: number): Instant => instantOf(`2026-12-${String(number).padStart(2, "0")}T08:00:00Z`);
const change = (id: string, at: Instant, content: ChangeContent, undone = false): ProgrammeChange => ({
  ...{ id, at, content, by: "Alder", reason: "because" },
  undone: undone ? { at: day(30), by: "Alder" } : null,
});
const starts = (id: string, at: Instant, stage: string, undone = false) =>
  change(id, at, { kind: "stageStarted", stage }, undone);
const parameters: StageParameters = {
  distanceCm: 40,
  capsLaid: 12,
  capsWhere: "on the sill",
  slotOpeningMm: 35,
  gramsEach: null,
};

describe("a programme", () => {
  it("has the ready stages and no present one before anything was started", () => {
    const programme = programmeOf([], stages);
    expect(programme.stages.map(({ kind }) => kind)).toEqual([
      "comeForFood",
      "pressForFood",
      "nudgeCap",
      "dropCap",
      "fetchCap",
    ]);
    expect(presentPeriod(programme)).toBeNull();
  });

  it("ends a stage where another is started, in whatever order the changes are stored", () => {
    const programme = programmeOf([starts("b", day(9), "pressForFood"), starts("a", day(1), "comeForFood")], stages);
    expect(programme.periods.map(({ stage, from, to }) => [stage.id, from, to])).toEqual([
      ["comeForFood", day(1), day(9)],
      ["pressForFood", day(9), null],
    ]);
    expect(periodAt(programme, day(5))?.stage.id).toBe("comeForFood");
    expect(periodAt(programme, day(9))?.stage.id).toBe("pressForFood");
    expect(periodAt(programme, instantOf("2026-11-01T00:00:00Z"))).toBeNull();
  });

  it("leaves out what was undone, as if it had not been made", () => {
    const programme = programmeOf([starts("a", day(1), "comeForFood"), starts("b", day(9), "dropCap", true)], stages);
    expect(presentPeriod(programme)).toMatchObject({ stage: { id: "comeForFood" }, from: day(1), to: null });
  });

  it("dates each change of a parameter of the present stage", () => {
    const programme = programmeOf(
      [
        starts("a", day(1), "nudgeCap"),
        change("b", day(4), { kind: "parametersChanged", stage: "nudgeCap", parameters }),
      ],
      stages,
    );
    expect(programme.steps.map(({ changeId, before }) => [changeId, before?.distanceCm ?? null])).toEqual([
      ["a", null],
      ["b", 5],
    ]);
    expect(parametersAt(programme, day(3))?.distanceCm).toBe(5);
    expect(parametersAt(programme, day(4))).toEqual(parameters);
    expect(presentPeriod(programme)?.stage.parameters).toEqual(parameters);
  });

  it("changes a stage that isn't the present one without a step in the record", () => {
    const programme = programmeOf(
      [
        starts("a", day(1), "comeForFood"),
        change("b", day(4), { kind: "parametersChanged", stage: "dropCap", parameters }),
      ],
      stages,
    );
    expect(programme.steps).toHaveLength(1);
    expect(programme.stages.find(({ id }) => id === "dropCap")?.parameters).toEqual(parameters);
  });

  it("shows past periods of a stage as it is edited now, and keeps one that was removed", () => {
    const [come, press] = stages;
    if (come === undefined || press === undefined) throw new Error("expected two stages");
    const programme = programmeOf(
      [
        starts("a", day(1), "comeForFood"),
        starts("b", day(5), "pressForFood"),
        change("c", day(8), { kind: "stagesEdited", stages: [{ ...press, name: "Press the button" }] }),
      ],
      stages,
    );
    expect(programme.periods.map(({ stage }) => stage.name)).toEqual(["Come", "Press the button"]);
    expect(nextStage(programme, "pressForFood")).toBeNull();
  });

  it("gives a start of a stage that isn't there no effect", () => {
    expect(programmeOf([starts("a", day(1), "unknown")], stages).periods).toEqual([]);
  });

  it("knows the stages before and after", () => {
    const programme = { stages };
    expect(nextStage(programme, "comeForFood")?.id).toBe("pressForFood");
    expect(previousStage(programme, "comeForFood")).toBeNull();
    expect(previousStage(programme, "fetchCap")?.id).toBe("dropCap");
    expect(nextStage(programme, "fetchCap")).toBeNull();
  });
});
