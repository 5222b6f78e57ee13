/* The serial line: a pseudo terminal of our own, or a descriptor that was handed over.
 *
 * Bytes that nobody takes are lost, as behind a USB bridge. Opening the pty does not start the board anew.
 */
#ifndef POSIX_LINE_H
#define POSIX_LINE_H

#include "../core/core.h"

#define LINE_BYTE_US 40u            /* 250 000 baud, ten bits a byte */

/* The controlling side of a new pty, raw; its name for hosts in `name`. -1 and errno: there is none to be had. */
int line_open_pty(char *name, size_t size);

void line_start(core_t *core, int fd);

/* All that has come into the core, all that waits to the host: in lockstep, where the bench keeps the line's time. */
void line_receive(void);
void line_send(void);

/* The same as a wire would have brought it by now, each byte 40 us behind the one before; at least once a millisecond. */
void line_receive_by(uint32_t now_us);
void line_send_by(uint32_t now_us);

#endif
