/* Logs what a process asks of the disk below one folder, in the order in which it happens.
 *
 * Preloaded before the C library (LD_PRELOAD). Below DISK_LOG_ROOT every creation, write, change of length, rename,
 * removal and flush goes to the file DISK_LOG, from which tests/shop/power_cut.py builds what a disk may hold after
 * the power failed. A lock around each call and its record makes the order exact over several processes.
 *
 * A record: kind (1 byte), inode (8), offset (8), length of path, second path and data (4 each), then these three.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <unistd.h>

enum { HIGHEST = 4096 };

static char *names[HIGHEST]; /* path of each open file below the root */
static char root[PATH_MAX];
static size_t root_length;
static int log_fd = -1;

__attribute__((constructor)) static void begin(void) {
    const char *wanted = getenv("DISK_LOG_ROOT"), *log = getenv("DISK_LOG");
    if (wanted && log && realpath(wanted, root)) {
        root_length = strlen(root);
        log_fd = (int)syscall(SYS_openat, AT_FDCWD, log, O_WRONLY | O_APPEND | O_CREAT | O_CLOEXEC, 0600);
    }
}


/* The path below the root that a name means, or NULL. The last part may not exist yet. */
static char *inside(int folder, const char *path) {
    static __thread char full[PATH_MAX], joined[PATH_MAX], parent[PATH_MAX];
    if (log_fd < 0 || !path) return NULL;
    if (path[0] != '/' && folder != AT_FDCWD) {
        if (folder < 0 || folder >= HIGHEST || !names[folder]) return NULL;
        if (strlen(names[folder]) + strlen(path) + 2 > PATH_MAX) return NULL;
        strcpy(joined, names[folder]);
        strcat(strcat(joined, "/"), path);
        path = joined;
    }
    if (!realpath(path, full)) {
        if (strlen(path) >= PATH_MAX) return NULL;
        strcpy(parent, path);
        char *slash = strrchr(parent, '/');
        const char *last = path;
        if (slash) {
            last = path + (slash - parent) + 1;
            *slash = 0;
        }
        if (!realpath(slash ? (*parent ? parent : "/") : ".", full)) return NULL;
        if (strlen(full) + strlen(last) + 2 > PATH_MAX) return NULL;
        strcat(strcat(full, "/"), last);
    }
    if (strncmp(full, root, root_length) || full[root_length] != '/') {
        return strcmp(full, root) ? NULL : full;
    }
    return full;
}

static void put(char kind, uint64_t inode, uint64_t offset, const char *path, const char *second, const void *data,
                size_t length) {
    uint32_t sizes[3] = {path ? (uint32_t)strlen(path) : 0, second ? (uint32_t)strlen(second) : 0, (uint32_t)length};
    struct iovec parts[7] = {
        {&kind, 1}, {&inode, 8}, {&offset, 8}, {sizes, 12},
        {(void *)path, sizes[0]}, {(void *)second, sizes[1]}, {(void *)data, length},
    };
    size_t all = 29 + (size_t)sizes[0] + sizes[1] + length;
    if (syscall(SYS_writev, log_fd, parts, 7) != (long)all) abort(); /* a hole in the log would prove anything */
}

static void lock(void) { while (syscall(SYS_flock, log_fd, LOCK_EX) < 0 && errno == EINTR) ; }
static void unlock(void) { int kept = errno; syscall(SYS_flock, log_fd, LOCK_UN); errno = kept; }
static int known(int fd) { return log_fd >= 0 && fd >= 0 && fd < HIGHEST && names[fd]; }

static uint64_t inode_of(int fd) {
    struct stat s;
    return fstat(fd, &s) ? 0 : (uint64_t)s.st_ino;
}

static int opened(int folder, const char *path, int flags, mode_t mode) {
    char *full = inside(folder, path);
    if (!full) return (int)syscall(SYS_openat, folder, path, flags, mode);
    char *kept = strdup(full);
    lock();
    int is_new = (flags & O_CREAT) && syscall(SYS_faccessat, AT_FDCWD, kept, F_OK) < 0;
    int fd = (int)syscall(SYS_openat, folder, path, flags, mode);
    if (fd >= 0 && is_new) put('C', inode_of(fd), 0, kept, NULL, NULL, 0);
    if (fd >= 0 && !is_new) put('O', inode_of(fd), 0, kept, NULL, NULL, 0);
    if (fd >= 0 && !is_new && (flags & O_TRUNC)) put('T', inode_of(fd), 0, NULL, NULL, NULL, 0);
    unlock();
    if (fd >= 0 && fd < HIGHEST) { free(names[fd]); names[fd] = kept; } else free(kept);
    return fd;
}

#define MODE(last) mode_t mode = 0; va_list more; va_start(more, last); \
    if (last & O_CREAT) { mode = va_arg(more, mode_t); } \
    va_end(more)
int open(const char *path, int flags, ...) { MODE(flags); return opened(AT_FDCWD, path, flags, mode); }
int open64(const char *path, int flags, ...) { MODE(flags); return opened(AT_FDCWD, path, flags | O_LARGEFILE, mode); }
int openat(int at, const char *path, int flags, ...) { MODE(flags); return opened(at, path, flags, mode); }
int openat64(int at, const char *path, int flags, ...) { MODE(flags); return opened(at, path, flags | O_LARGEFILE, mode); }
int creat(const char *path, mode_t mode) { return opened(AT_FDCWD, path, O_CREAT | O_WRONLY | O_TRUNC, mode); }
int creat64(const char *path, mode_t mode) { return opened(AT_FDCWD, path, O_CREAT | O_WRONLY | O_TRUNC, mode); }

int close(int fd) {
    if (fd >= 0 && fd < HIGHEST && names[fd]) { free(names[fd]); names[fd] = NULL; }
    return (int)syscall(SYS_close, fd);
}

ssize_t write(int fd, const void *data, size_t length) {
    if (!known(fd)) return syscall(SYS_write, fd, data, length);
    lock();
    off_t at = fcntl(fd, F_GETFL) & O_APPEND ? lseek(fd, 0, SEEK_END) : lseek(fd, 0, SEEK_CUR);
    ssize_t done = syscall(SYS_write, fd, data, length);
    if (done > 0) put('W', inode_of(fd), (uint64_t)at, NULL, NULL, data, (size_t)done);
    unlock();
    return done;
}

ssize_t pwrite64(int fd, const void *data, size_t length, off64_t at) {
    if (!known(fd)) return syscall(SYS_pwrite64, fd, data, length, at);
    lock();
    ssize_t done = syscall(SYS_pwrite64, fd, data, length, at);
    if (done > 0) put('W', inode_of(fd), (uint64_t)at, NULL, NULL, data, (size_t)done);
    unlock();
    return done;
}
ssize_t pwrite(int fd, const void *data, size_t length, off_t at) { return pwrite64(fd, data, length, at); }

/* Nothing here is known to call these on the shop's files; should it begin to, the log would be wrong: stop. */
ssize_t writev(int fd, const struct iovec *parts, int count) {
    if (known(fd)) abort();
    return syscall(SYS_writev, fd, parts, count);
}
int fallocate64(int fd, int mode, off64_t at, off64_t length) {
    if (known(fd)) abort();
    return (int)syscall(SYS_fallocate, fd, mode, at, length);
}
int fallocate(int fd, int mode, off_t at, off_t length) { return fallocate64(fd, mode, at, length); }

int ftruncate64(int fd, off64_t length) {
    if (!known(fd)) return (int)syscall(SYS_ftruncate, fd, length);
    lock();
    int done = (int)syscall(SYS_ftruncate, fd, length);
    if (!done) put('T', inode_of(fd), (uint64_t)length, NULL, NULL, NULL, 0);
    unlock();
    return done;
}
int ftruncate(int fd, off_t length) { return ftruncate64(fd, length); }

static int flushed(int fd, long call) {
    if (!known(fd)) return (int)syscall(call, fd);
    lock();
    int done = (int)syscall(call, fd);
    if (!done) put('F', inode_of(fd), 0, names[fd], NULL, NULL, 0);
    unlock();
    return done;
}
int fsync(int fd) { return flushed(fd, SYS_fsync); }
int fdatasync(int fd) { return flushed(fd, SYS_fdatasync); }

int rename(const char *old, const char *name) {
    char *from = inside(AT_FDCWD, old);
    from = from ? strdup(from) : NULL;
    char *to = inside(AT_FDCWD, name);
    if (!from || !to) { free(from); return (int)syscall(SYS_renameat, AT_FDCWD, old, AT_FDCWD, name); }
    lock();
    int done = (int)syscall(SYS_renameat, AT_FDCWD, old, AT_FDCWD, name);
    if (!done) put('R', 0, 0, from, to, NULL, 0);
    unlock();
    free(from);
    return done;
}

static int removed(int at, const char *path, int flags) {
    char *full = inside(at, path);
    if (!full) return (int)syscall(SYS_unlinkat, at, path, flags);
    lock();
    int done = (int)syscall(SYS_unlinkat, at, path, flags);
    if (!done) put('U', 0, 0, full, NULL, NULL, 0);
    unlock();
    return done;
}
int unlink(const char *path) { return removed(AT_FDCWD, path, 0); }
int unlinkat(int at, const char *path, int flags) { return removed(at, path, flags); }

static int made(int at, const char *path, mode_t mode) {
    char *full = inside(at, path);
    if (!full) return (int)syscall(SYS_mkdirat, at, path, mode);
    lock();
    int done = (int)syscall(SYS_mkdirat, at, path, mode);
    if (!done) put('M', 0, 0, full, NULL, NULL, 0);
    unlock();
    return done;
}
int mkdir(const char *path, mode_t mode) { return made(AT_FDCWD, path, mode); }
int mkdirat(int at, const char *path, mode_t mode) { return made(at, path, mode); }
