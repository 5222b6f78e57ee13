/* The serial line: a pseudo terminal of our own, or a descriptor that was handed over.
 *
 * Bytes that nobody takes are lost, as behind a USB bridge. Opening the pty does not start the board anew.
 */
#ifndef POSIX_LINE_H
#define POSIX_LINE_H

#include "../core/core.h"

#define LINE_BYTES_PER_MS 25u       /* 250 000 baud, ten bits a byte */
#define LINE_AS_FAST_AS_IT_GOES 4096u

/* The controlling side of a new pty, raw; its name for hosts in `name`. -1 and errno: there is none to be had. */
int line_open_pty(char *name, size_t size);

void line_start(core_t *core, int fd);

/* Up to so many bytes from the host into the core, and as many from the core to the host. */
void line_receive(size_t most);
void line_send(size_t most);

#endif
