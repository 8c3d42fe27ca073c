import { area } from "./area";

export const pass = area({ "pass-title": "What may I do on this ground today?" }, { "pass-title": "¿Qué puedo hacer hoy en este terreno?" });
