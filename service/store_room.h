/*
 * store_room - room on the disk by which a store gets over a full one
 *
 * What is committed stands in the write-ahead log until it is moved into the
 * database.  On a disk that the log has filled it cannot be moved, since the
 * database has to grow first; and nothing gets smaller without it.  So some
 * room is held by a file that means nothing, STORE-room; when the disk is full
 * it is let go, and the log is moved and cut.  And while room is scarce the
 * log is kept short, so that what is held suffices.
 *
 * Store thread, but for opening and closing.
 */
#ifndef HEADGATE_SERVICE_STORE_ROOM_H
#define HEADGATE_SERVICE_STORE_ROOM_H

#include <stdbool.h>
#include <stdint.h>

enum {
    ROOM_BYTES_MAX = 16 * 1024 * 1024, /* an eighth of the disk, at most this */
    ROOM_BYTES_MIN = 256 * 1024,       /* less is not worth a file */
    ROOM_SCARCE_BYTES = 256 * 1024 * 1024, /* free: the log is kept short */
    ROOM_PATH_SIZE = 4096 + 8
};

struct store_room {
    char path[ROOM_PATH_SIZE];
    int64_t bytes; /* to be held; 0: the disk is too small, or not known */
    bool held;
};

/* Hold room beside the store of this path, if the disk has it. */
void store_room_open(struct store_room *room, const char *store_path);

/* The same later: where the disk has room again. */
void store_room_hold(struct store_room *room);

/* Free it; false: none was held. */
bool store_room_let_go(struct store_room *room);

/* Is so little free that the log has to be short?  On an error: no. */
bool store_room_scarce(const struct store_room *room);

#endif
