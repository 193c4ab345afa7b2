#include "service/store_room.h"

#include "service/store_files.h"

#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#include <unistd.h>

/* ERR_IO: it is not known. */
static enum err ask_disk(const struct store_room *room, int64_t *free_bytes,
                         int64_t *all_bytes)
{
    char folder[ROOM_PATH_SIZE];
    struct statvfs disk;

    store_folder_of(room->path, folder, sizeof(folder));
    if (statvfs(folder, &disk) != 0)
        return ERR_IO;
    *free_bytes = (int64_t)disk.f_bavail * (int64_t)disk.f_frsize;
    *all_bytes = (int64_t)disk.f_blocks * (int64_t)disk.f_frsize;
    return ERR_OK;
}

void store_room_open(struct store_room *room, const char *store_path)
{
    int64_t free_bytes, all_bytes;
    struct stat there;
    int n;

    memset(room, 0, sizeof(*room));
    n = snprintf(room->path, sizeof(room->path), "%s-room", store_path);
    if (n < 0 || (size_t)n >= sizeof(room->path) ||
        ask_disk(room, &free_bytes, &all_bytes) != ERR_OK)
        return;
    room->bytes =
        all_bytes / 8 < ROOM_BYTES_MAX ? all_bytes / 8 : ROOM_BYTES_MAX;
    if (room->bytes < ROOM_BYTES_MIN)
        room->bytes = 0;
    /* one that was killed has left its own */
    room->held = stat(room->path, &there) == 0 && there.st_size > 0;
    store_room_hold(room);
}

/* Twice as much must be free: it is not there to fill the disk. */
void store_room_hold(struct store_room *room)
{
    int64_t free_bytes, all_bytes;
    int file;

    if (room->held || room->bytes == 0 ||
        ask_disk(room, &free_bytes, &all_bytes) != ERR_OK ||
        free_bytes < 2 * room->bytes)
        return;
    file = open(room->path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (file < 0)
        return;
    room->held = posix_fallocate(file, 0, (off_t)room->bytes) == 0;
    close(file);
    if (!room->held)
        unlink(room->path);
}

bool store_room_let_go(struct store_room *room)
{
    if (!room->held || unlink(room->path) != 0)
        return false;
    room->held = false;
    return true;
}

bool store_room_scarce(const struct store_room *room)
{
    int64_t free_bytes, all_bytes;

    return room->bytes > 0 &&
           ask_disk(room, &free_bytes, &all_bytes) == ERR_OK &&
           free_bytes < ROOM_SCARCE_BYTES;
}
