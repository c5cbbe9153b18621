/*
 * Plays random pictures; each tick goes to standard output, or with BENCH_CRC only what all of them come to, or with
 * BENCH_QUIET nothing.
 */
#include <stdio.h>

#include "bench.h"
#include "player.h"

static uint8_t levels[GREYLOOM_COLUMNS];
static uint32_t seed, ticks, crc;

/* The picture's level of a pixel, the darkest for seed 0; the same is in mod.rs. */
static uint8_t level_of(uint32_t index)
{
    uint32_t x = seed * 747796405u + index * 2891336453u;
    x ^= x >> 16;
    x *= 0x45d9f3bu;
    x ^= x >> 16;
    if (seed == 0) return 0;
    return (uint8_t)((x >> 8) % GREYLOOM_LEVELS);
}

static const uint8_t *row_levels(void *user, uint16_t row)
{
    uint16_t c;
    (void)user;
    for (c = 0; c < GREYLOOM_COLUMNS; c++) levels[c] = level_of((uint32_t)row * GREYLOOM_COLUMNS + c);
    return levels;
}

static void put(uint32_t value, unsigned bytes)
{
    for (; bytes; bytes--, value >>= 8) {
#ifdef BENCH_CRC
        unsigned bit;
        crc ^= value & 0xFFu;
        for (bit = 0; bit < 8; bit++) crc = (crc >> 1) ^ (0xEDB88320u & (0u - (crc & 1u)));
#elif !defined(BENCH_QUIET)
        putchar((int)(value & 0xFFu));
#endif
    }
}

static int tick(void *user, const struct greyloom_lines *lines)
{
    uint16_t c;
    (void)user;
    put(lines->row, 2);
    put(lines->row_code, 2);
    put(lines->period_16, 4);
    for (c = 0; c < GREYLOOM_COLUMNS; c++) put(lines->column[c], sizeof(greyloom_code_t));
    return ++ticks == BENCH_TICKS_MAX;
}

int main(void)
{
    static struct greyloom_player player;
    unsigned i;
    for (i = 0; i < sizeof(refreshes) / sizeof(refreshes[0]); i++) {
        int result;
        seed = refreshes[i].seed;
        ticks = 0;
        crc = 0xFFFFFFFFu;
        if (refreshes[i].fresh) greyloom_player_init(&player);
        result = (int)greyloom_play(&player, refreshes[i].temperature_16, refreshes[i].balance, row_levels, tick, 0);
#ifdef BENCH_CRC
        printf("%d %lu %08lX\n", result, (unsigned long)ticks, (unsigned long)~crc & 0xFFFFFFFFul);
#else
        (void)result;
#endif
    }
    return 0;
}
