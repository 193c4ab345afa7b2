/*
 * One name that the peer's libraries expect of a newer Node.
 *
 * They look up WebSocket while they are being imported, although nothing here
 * ever opens one.  Node 22 has it, Node 20 does not.  This file has to be
 * imported before them: imports run in the order in which they are written.
 */

globalThis.WebSocket ??= class WebSocket {};
