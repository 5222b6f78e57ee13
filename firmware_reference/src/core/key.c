#include "key.h"

#include "../generated/schema.h"
#include "bytes.h"
#include "port.h"

/* Of key_table_board or key_table_axis, byte by byte: the number of keys, where each lies, and three whole scopes. */
static CORE_ONCE const uint8_t *table(uint8_t scope, uint8_t place)
{
    return (scope == 0 ? (const uint8_t *)&key_table_board : (const uint8_t *)&key_table_axis) + place;
}

uint8_t key_last(uint8_t scope)
{
    return CORE_ROM_READ_U8(table(scope, 0));
}

uint8_t key_at(uint8_t scope, uint8_t key)
{
    return CORE_ROM_READ_U8(table(scope, key));
}

uint8_t key_width(uint8_t scope, uint8_t key)
{
    return (uint8_t)(key_at(scope, (uint8_t)(key + 1)) - key_at(scope, key));
}

/* Signed keys are four bytes wide (the generator sees to it), so nothing needs its sign spread. */
int32_t key_value(uint8_t scope, uint8_t key, const void *data)
{
    const uint8_t *places = table(scope, key);
    uint8_t place = CORE_ROM_READ_U8(places);
    uint8_t width = (uint8_t)(CORE_ROM_READ_U8(places + 1) - place);
    return (int32_t)get_number((const uint8_t *)data + place, width);
}

static int32_t limit(uint8_t scope, uint8_t key, uint8_t size)
{
    int32_t value = 0;
    const uint8_t *least = table(scope, (uint8_t)(key_last(scope) + 2)) + key_at(scope, key);
    CORE_ROM_COPY(&value, least + size, key_width(scope, key));
    return value;
}

uint8_t key_allows(uint8_t scope, uint8_t key, int32_t value)
{
    return value >= limit(scope, key, 0) && value <= limit(scope, key, key_at(scope, (uint8_t)(key_last(scope) + 1)));
}
