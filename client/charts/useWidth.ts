import { useEffect, useState } from "preact/hooks";

/** The width of a drawing's frame in CSS pixels, followed as the page changes; `first` until it is measured. */
export function useWidth(frame: { readonly current: HTMLElement | null }, first: number): number {
  const [width, setWidth] = useState(first);
  useEffect(() => {
    const element = frame.current;
    if (element === null) return;
    const measure = () => setWidth(Math.max(240, Math.floor(element.clientWidth) || first));
    measure();
    if (!("ResizeObserver" in window)) return;
    const observer = new ResizeObserver(measure);
    observer.observe(element);
    return () => observer.disconnect();
  }, [frame, first]);
  return width;
}
