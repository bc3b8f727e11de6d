/* A disk that fails now and then, below a program that it is loaded into (LD_PRELOAD, ld.so(8)).

   BAD_FLUSH=N: every N-th fsync or fdatasync fails with EIO, and what was written to that file since its last good flush is
   gone, as a Linux kernel leaves it: the pages are marked clean, a later flush succeeds and says nothing of them (PostgreSQL
   wiki, "Fsync Errors"; Rebello et al., "Can Applications Recover from fsync Failures?", USENIX ATC 2020).
   BAD_READ=N: every N-th read of a file fails with EIO.
   HANG=PATH: while a file stands at PATH no flush returns. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <pthread.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

struct written {
    dev_t dev;
    ino_t ino;
    off_t at;
    size_t length, had;
    char *before;
    struct written *older;
};

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static struct written *newest;
static long flushes, reads, bad_flush, bad_read;
static const char *hang;
static ssize_t (*do_write)(int, const void *, size_t);
static ssize_t (*do_pwrite)(int, const void *, size_t, off_t);
static ssize_t (*do_read)(int, void *, size_t);
static ssize_t (*do_pread)(int, void *, size_t, off_t);
static int (*do_fsync)(int);
static int (*do_fdatasync)(int);

__attribute__((constructor)) static void begin(void) {
    do_write = dlsym(RTLD_NEXT, "write");
    do_pwrite = dlsym(RTLD_NEXT, "pwrite64");
    do_read = dlsym(RTLD_NEXT, "read");
    do_pread = dlsym(RTLD_NEXT, "pread64");
    do_fsync = dlsym(RTLD_NEXT, "fsync");
    do_fdatasync = dlsym(RTLD_NEXT, "fdatasync");
    /* A program that is started again does not meet the same fault at the same place for ever. */
    flushes = reads = getpid();
    bad_flush = getenv("BAD_FLUSH") ? atol(getenv("BAD_FLUSH")) : 0;
    hang = getenv("HANG");
    bad_read = getenv("BAD_READ") ? atol(getenv("BAD_READ")) : 0;
}

static int is_file(int fd, struct stat *found) { return fstat(fd, found) == 0 && S_ISREG(found->st_mode); }

/* Remembers what stands where something is about to be written. */
static void remember(int fd, size_t length, off_t at) {
    struct stat found;
    if (!bad_flush || !is_file(fd, &found)) return;
    struct written *w = calloc(1, sizeof *w);
    if (!w || !(w->before = calloc(1, length ? length : 1))) abort();
    *w = (struct written){found.st_dev, found.st_ino, at, length, 0, w->before, NULL};
    ssize_t had = do_pread(fd, w->before, length, at);
    w->had = had > 0 ? (size_t)had : 0;
    pthread_mutex_lock(&lock);
    w->older = newest;
    newest = w;
    pthread_mutex_unlock(&lock);
}

/* Forgets what was written to a file; with `lose`, puts back what stood there, newest first. Beyond the old end stay zeros. */
static void settle(int fd, int lose) {
    struct stat found;
    if (!bad_flush || !is_file(fd, &found)) return;
    pthread_mutex_lock(&lock);
    for (struct written **at = &newest; *at;) {
        struct written *w = *at;
        if (w->dev != found.st_dev || w->ino != found.st_ino) {
            at = &w->older;
            continue;
        }
        if (lose && do_pwrite(fd, w->before, w->length, w->at) < 0) abort();
        *at = w->older;
        free(w->before);
        free(w);
    }
    pthread_mutex_unlock(&lock);
}

static int flush(int fd, int (*really)(int)) {
    struct stat found;
    while (hang && access(hang, F_OK) == 0) usleep(20000);
    if (bad_flush && is_file(fd, &found) && __sync_add_and_fetch(&flushes, 1) % bad_flush == 0) {
        settle(fd, 1);
        errno = EIO;
        return -1;
    }
    int done = really(fd);
    if (done == 0) settle(fd, 0);
    return done;
}

static int read_fails(int fd) {
    struct stat found;
    return bad_read && is_file(fd, &found) && __sync_add_and_fetch(&reads, 1) % bad_read == 0;
}

ssize_t write(int fd, const void *bytes, size_t length) {
    remember(fd, length, lseek(fd, 0, SEEK_CUR));
    return do_write(fd, bytes, length);
}
ssize_t pwrite(int fd, const void *bytes, size_t length, off_t at) {
    remember(fd, length, at);
    return do_pwrite(fd, bytes, length, at);
}
ssize_t pwrite64(int fd, const void *bytes, size_t length, off_t at) { return pwrite(fd, bytes, length, at); }
ssize_t read(int fd, void *bytes, size_t length) {
    if (read_fails(fd)) { errno = EIO; return -1; }
    return do_read(fd, bytes, length);
}
ssize_t pread(int fd, void *bytes, size_t length, off_t at) {
    if (read_fails(fd)) { errno = EIO; return -1; }
    return do_pread(fd, bytes, length, at);
}
ssize_t pread64(int fd, void *bytes, size_t length, off_t at) { return pread(fd, bytes, length, at); }
int fsync(int fd) { return flush(fd, do_fsync); }
int fdatasync(int fd) { return flush(fd, do_fdatasync); }
