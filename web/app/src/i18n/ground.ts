import { area } from "./area";

export const ground = area({ "ground-title": "What ground is this?" }, { "ground-title": "¿Qué terreno es este?" });
