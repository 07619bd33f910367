/* A disk that can lose power, for one process: laid between a program and the C library (LD_PRELOAD), it writes down
 * everything that is done to the database's files, in order, and when they were flushed. From that the test works out what
 * a disk could hold after a power cut at that moment: all that was flushed, and any part of the rest.
 *
 *   LOSSY_FILES    the path with which the files' names begin
 *   LOSSY_TRACE    where it is written down
 *   LOSSY_SWALLOW  if set, flushes are claimed and not done
 *   LOSSY_FAIL     while a file PATH-sync exists flushes fail with EIO; while PATH-write exists writes fail with ENOSPC
 *
 * A record: kind, length of the name (2 bytes), offset (8), length of the data (8), name, data; numbers as the machine
 * has them. Kinds: W written, T cut to a size (the offset), S flushed, F a flush failed, U the name was removed.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/uio.h>
#include <unistd.h>

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

static ssize_t (*real_write)(int, const void *, size_t);
static ssize_t (*real_pwrite)(int, const void *, size_t, off_t);
static int (*real_ftruncate)(int, off_t);
static int (*real_fsync)(int);
static int (*real_fdatasync)(int);
static int (*real_unlink)(const char *);
static int trace = -1;

__attribute__((constructor)) static void begin(void) {
    real_write = (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    real_pwrite = (ssize_t(*)(int, const void *, size_t, off_t))dlsym(RTLD_NEXT, "pwrite");
    real_ftruncate = (int (*)(int, off_t))dlsym(RTLD_NEXT, "ftruncate");
    real_fsync = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    real_fdatasync = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    real_unlink = (int (*)(const char *))dlsym(RTLD_NEXT, "unlink");
    const char *path = getenv("LOSSY_TRACE");
    if (path != NULL) trace = open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

/* The file's name after the common beginning, or null if it is none of ours. The index in shared memory is made anew after
 * a crash, so what becomes of it is no matter. */
static const char *name_of(int fd, char *room, size_t size) {
    const char *files = getenv("LOSSY_FILES");
    if (files == NULL || trace < 0) return NULL;
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(link, room, size - 1);
    if (length < 0) return NULL;
    room[length] = 0;
    size_t common = strlen(files);
    if (strncmp(room, files, common) != 0 || strcmp(room + common, "-shm") == 0) return NULL;
    return room + common;
}

static void note(char kind, const char *name, uint64_t offset, const void *data, uint64_t length) {
    uint16_t name_length = (uint16_t)strlen(name);
    char head[19];
    head[0] = kind;
    memcpy(head + 1, &name_length, 2);
    memcpy(head + 3, &offset, 8);
    memcpy(head + 11, &length, 8);
    struct iovec parts[3] = {
        {head, sizeof head}, {(void *)name, name_length}, {(void *)data, length}};
    if (writev(trace, parts, length > 0 ? 3 : 2) < 0) abort();
}

static int fails(const char *what) {
    const char *path = getenv("LOSSY_FAIL");
    char room[4096];
    if (path == NULL) return 0;
    snprintf(room, sizeof room, "%s-%s", path, what);
    return access(room, F_OK) == 0;
}

static ssize_t put(int fd, const void *data, size_t size, off_t offset, int moves) {
    char room[4096];
    const char *name = name_of(fd, room, sizeof room);
    if (name == NULL) return moves ? real_write(fd, data, size) : real_pwrite(fd, data, size, offset);
    if (fails("write")) {
        errno = ENOSPC;
        return -1;
    }
    pthread_mutex_lock(&lock);
    if (moves) offset = lseek(fd, 0, SEEK_CUR);
    ssize_t done = moves ? real_write(fd, data, size) : real_pwrite(fd, data, size, offset);
    if (done > 0) note('W', name, (uint64_t)offset, data, (uint64_t)done);
    pthread_mutex_unlock(&lock);
    return done;
}

ssize_t write(int fd, const void *data, size_t size) { return put(fd, data, size, 0, 1); }
ssize_t pwrite(int fd, const void *data, size_t size, off_t at) { return put(fd, data, size, at, 0); }
ssize_t pwrite64(int fd, const void *data, size_t size, off_t at) { return put(fd, data, size, at, 0); }

int ftruncate(int fd, off_t size) {
    char room[4096];
    const char *name = name_of(fd, room, sizeof room);
    if (name == NULL) return real_ftruncate(fd, size);
    pthread_mutex_lock(&lock);
    int done = real_ftruncate(fd, size);
    if (done == 0) note('T', name, (uint64_t)size, NULL, 0);
    pthread_mutex_unlock(&lock);
    return done;
}
int ftruncate64(int fd, off_t size) { return ftruncate(fd, size); }

static int flush(int fd, int (*real)(int)) {
    char room[4096];
    const char *name = name_of(fd, room, sizeof room);
    if (name == NULL) return real(fd);
    if (getenv("LOSSY_SWALLOW") != NULL) return 0;
    pthread_mutex_lock(&lock);
    int done = 0;
    if (fails("sync")) {
        /* As Linux does it: what was to be flushed counts as clean from then on, and may be lost. */
        note('F', name, 0, NULL, 0);
        errno = EIO;
        done = -1;
    } else {
        /* What it is worth is written down; the real disk need not be waited for. */
        note('S', name, 0, NULL, 0);
    }
    pthread_mutex_unlock(&lock);
    return done;
}

int fsync(int fd) { return flush(fd, real_fsync); }
int fdatasync(int fd) { return flush(fd, real_fdatasync); }

int unlink(const char *path) {
    const char *files = getenv("LOSSY_FILES");
    size_t common = files != NULL ? strlen(files) : 0;
    int ours = files != NULL && trace >= 0 && strncmp(path, files, common) == 0;
    pthread_mutex_lock(&lock);
    int done = real_unlink(path);
    if (done == 0 && ours && strcmp(path + common, "-shm") != 0) note('U', path + common, 0, NULL, 0);
    pthread_mutex_unlock(&lock);
    return done;
}
