#include "memory.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "../core/port.h"

static int eeprom = -1;

static int make_blank(void)
{
    uint8_t blank[STORE_SIZE];
    memset(blank, STORE_BLANK, sizeof blank);
    return write(eeprom, blank, sizeof blank) == (ssize_t)sizeof blank ? 0 : -1;
}

int eeprom_open(const char *path)
{
    struct stat is;
    eeprom = open(path, O_RDWR | O_CREAT, 0644);
    if (eeprom < 0 || fstat(eeprom, &is) != 0) { return -1; }
    if (is.st_size == 0) { return make_blank(); }
    errno = 0;
    return is.st_size == STORE_SIZE ? 0 : -1;
}

uint8_t eeprom_get(uint16_t address)
{
    uint8_t value = STORE_BLANK;
    CORE_ASSERT(pread(eeprom, &value, 1, address) == 1);
    return value;
}

void eeprom_put(uint16_t address, uint8_t value)
{
    CORE_ASSERT(address < STORE_SIZE && pwrite(eeprom, &value, 1, address) == 1);
}

int record_open(const char *path)
{
    if (path != NULL) { return open(path, O_RDWR | O_CREAT, 0644); }
    FILE *nameless = tmpfile();
    return nameless == NULL ? -1 : dup(fileno(nameless));
}

noinit_t *record_map(int fd)
{
    if (ftruncate(fd, sizeof(noinit_t)) != 0) { return NULL; }
    void *at = mmap(NULL, sizeof(noinit_t), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
    return at == MAP_FAILED ? NULL : at;
}
