/** The part of MicroPython's WebAssembly port that the tests use; it ships no types. */
declare module "@micropython/micropython-webassembly-pyscript/micropython.mjs" {
  export interface Interpreter {
    readonly FS: {
      mkdir(path: string): void;
      readdir(path: string): string[];
      readFile(path: string): Uint8Array;
      writeFile(path: string, data: Uint8Array | string): void;
    };
    readonly globals: { get(name: string): unknown };
    /** Throws with Python's traceback as its message. */
    runPython(program: string): void;
  }
  export function loadMicroPython(options: {
    readonly stdout?: (line: string) => void;
    readonly stderr?: (line: string) => void;
    readonly linebuffer: boolean;
  }): Promise<Interpreter>;
}
