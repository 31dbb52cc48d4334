/* Loaded before the C library into a program under test (LD_PRELOAD): a disk that takes its time, a clock that is set back.
 *
 * ODD_WRITE_MS       every write to a regular file takes so much longer
 * ODD_SYNC_MS        every fsync and fdatasync too
 * ODD_CLOCK_BACK_S   from the second look at the time of day on, it is so many seconds earlier
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

static long number(const char *name) {
    const char *text = getenv(name);
    return text ? atol(text) : 0;
}

static void take_time(long ms) {
    struct timespec left = {ms / 1000, ms % 1000 * 1000000};
    while (ms > 0 && nanosleep(&left, &left) != 0) {
    }
}

ssize_t write(int file, const void *bytes, size_t count) {
    static ssize_t (*next)(int, const void *, size_t);
    struct stat what;
    if (!next)
        next = (ssize_t(*)(int, const void *, size_t))dlsym(RTLD_NEXT, "write");
    if (fstat(file, &what) == 0 && S_ISREG(what.st_mode))
        take_time(number("ODD_WRITE_MS"));
    return next(file, bytes, count);
}

int fsync(int file) {
    static int (*next)(int);
    if (!next)
        next = (int (*)(int))dlsym(RTLD_NEXT, "fsync");
    take_time(number("ODD_SYNC_MS"));
    return next(file);
}

int fdatasync(int file) {
    static int (*next)(int);
    if (!next)
        next = (int (*)(int))dlsym(RTLD_NEXT, "fdatasync");
    take_time(number("ODD_SYNC_MS"));
    return next(file);
}

int clock_gettime(clockid_t clock, struct timespec *now) {
    static int (*next)(clockid_t, struct timespec *);
    static atomic_int looks;
    if (!next)
        next = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
    int told = next(clock, now);
    if (told == 0 && clock == CLOCK_REALTIME && atomic_fetch_add(&looks, 1) > 0)
        now->tv_sec -= number("ODD_CLOCK_BACK_S");
    return told;
}
