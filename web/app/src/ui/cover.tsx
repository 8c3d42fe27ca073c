import type { ComponentChildren } from "preact";
import { useEffect, useRef } from "preact/hooks";

/** Covers the whole page: what lies behind can neither be reached nor read until it closes. */
export function Cover(props: { title: string; class?: string; onClose?: () => void; children: ComponentChildren }) {
  const box = useRef<HTMLDialogElement>(null);
  useEffect(() => {
    // A focus goes back by itself where the dialog was opened.
    box.current?.showModal();
    return () => box.current?.close();
  }, []);
  return (
    <dialog
      class={`cover ${props.class ?? ""}`}
      aria-label={props.title}
      ref={box}
      onCancel={(e) => {
        e.preventDefault();
        props.onClose?.();
      }}
    >
      {props.children}
    </dialog>
  );
}
