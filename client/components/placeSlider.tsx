/** Where a reader is in a picture: at one of so many places from left to right. */
export interface PlaceReader {
  readonly label: string;
  readonly count: number;
  readonly first: number; // where it begins
  readonly textAt: (place: number) => string;
}

/** Reads a picture out place by place: by keys, by touch, by a screen reader. */
export function PlaceSlider(props: {
  readonly reader: Omit<PlaceReader, "first">;
  readonly place: number;
  readonly choose: (place: number) => void;
}) {
  const { reader, place, choose } = props;
  const text = reader.textAt(place);
  return (
    <div class="picture-reader">
      <p aria-hidden="true">{text}</p>
      <input
        type="range"
        min={0}
        max={reader.count - 1}
        step={1}
        value={place}
        aria-label={reader.label}
        aria-valuetext={text}
        onInput={(event) => choose(Number(event.currentTarget.value))}
      />
    </div>
  );
}
