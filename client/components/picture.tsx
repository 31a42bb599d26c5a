import type { ComponentChildren } from "preact";
import { useId, useRef, useState } from "preact/hooks";
import { tableLabel } from "#text/trainingCharts.ts";
import { useWidth } from "../charts/useWidth.ts";
import { type PlaceReader, PlaceSlider } from "./placeSlider.tsx";

interface PictureProps {
  readonly title: string;
  readonly sentence: string;
  readonly height: number;
  readonly reader: PlaceReader;
  readonly placeAt: (x: number, width: number) => number;
  readonly draw: (width: number, place: number) => ComponentChildren;
  readonly legend?: ComponentChildren;
  readonly table: { readonly columns: readonly string[]; readonly rows: readonly (readonly string[])[] };
}

/**
 * A picture with one sentence, a slider that reads its places out (keys, touch, screen readers), and its table. A finger or a mouse on
 * the picture moves the slider too.
 */
export function Picture(props: PictureProps) {
  const { title, sentence, height, reader, placeAt, draw, legend, table } = props;
  const id = useId();
  const frame = useRef<HTMLDivElement>(null);
  const width = useWidth(frame, 320);
  const [chosen, setChosen] = useState<number | null>(null);
  const place = Math.max(0, Math.min(reader.count - 1, chosen ?? reader.first));
  const follow = ({ currentTarget, clientX }: PointerEvent) =>
    setChosen(placeAt(clientX - (currentTarget as Element).getBoundingClientRect().left, width));
  return (
    <figure class="picture" aria-labelledby={`${id}-title`}>
      <h3 id={`${id}-title`}>{title}</h3>
      <p id={`${id}-sentence`}>{sentence}</p>
      <div class="chart-frame" ref={frame}>
        <svg
          class="training-chart"
          role="img"
          aria-label={title}
          aria-describedby={`${id}-sentence`}
          viewBox={`0 0 ${width} ${height}`}
          width={width}
          height={height}
          onPointerDown={follow}
          onPointerMove={(event) => event.buttons > 0 && follow(event)}
        >
          {draw(width, place)}
        </svg>
      </div>
      <PlaceSlider reader={reader} place={place} choose={setChosen} />
      {legend}
      <details>
        <summary>
          {tableLabel}
          <span class="hidden">: {title}</span>
        </summary>
        <PictureTable title={title} {...table} />
      </details>
    </figure>
  );
}

const PictureTable = ({ title, columns, rows }: PictureProps["table"] & { readonly title: string }) => (
  // biome-ignore lint/a11y/noNoninteractiveTabindex: a region that scrolls must be reachable by keyboard (WCAG 2.1.1)
  <section class={`scroll picture-table${columns.length > 4 ? " many" : ""}`} tabIndex={0} aria-label={title}>
    <table>
      <thead>
        <tr>
          {columns.map((column) => (
            <th key={column} scope="col">
              {column}
            </th>
          ))}
        </tr>
      </thead>
      <tbody>
        {rows.map(([first = "", ...rest]) => (
          <tr key={first}>
            <th scope="row">{first}</th>
            {rest.map((cell, index) => (
              <td key={columns[index + 1]}>{cell}</td>
            ))}
          </tr>
        ))}
      </tbody>
    </table>
  </section>
);

/** What each mark of a picture means. */
export const PictureLegend = (props: {
  readonly label: string;
  readonly marks: readonly { readonly name: string; readonly mark: ComponentChildren }[];
}) => (
  <ul class="chart-legend" aria-label={props.label}>
    {props.marks.map(({ name, mark }) => (
      <li key={name}>
        <svg class="training-chart" viewBox="-9 -9 18 18" width="18" height="18" aria-hidden="true">
          {mark}
        </svg>
        {name}
      </li>
    ))}
  </ul>
);
