import { execFileSync } from "node:child_process";

/** A file system of its own in memory, so that it can really be full or read-only. Mounting needs root. */
export interface SmallDisk {
  readonly folder: string;
  /** Takes away the right to write, or gives it back, as the kernel does with a failing card. */
  remount(how: "ro" | "rw"): void;
  unmount(): void;
}

export const mayMount: boolean = triedToMount();

export function mountSmallDisk(folder: string, kibibytes: number): SmallDisk {
  execFileSync("mount", ["-t", "tmpfs", "-o", `size=${kibibytes}k,mode=700`, "none", folder]);
  return {
    folder,
    remount: (how) => void execFileSync("mount", ["-o", `remount,${how}`, folder]),
    unmount: () => void execFileSync("umount", ["-l", folder]),
  };
}

function triedToMount(): boolean {
  if (process.getuid?.() !== 0) return false;
  try {
    execFileSync("unshare", ["-m", "mount", "-t", "tmpfs", "-o", "size=64k", "none", "/mnt"], { stdio: "ignore" });
    return true;
  } catch {
    return false; // a container without the right to mount
  }
}
