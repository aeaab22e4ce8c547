/* ---- The look-up ----------------------------------------------------------------------
 *
 * Why nothing overflows, whatever the arguments and however wide int is:
 *  - Angles are int32_t microdegrees. The table keeps corrections within 1000 degrees (10^9),
 *    encoder ranges and unwrapped azimuths within 1000 degrees; demands are checked or
 *    reduced before they are used. A demand on the table plus its correction is within 2 x 10^9;
 *    a reading within the range plus one turn is within 1.36 x 10^9: both below 2^31.
 *  - Differences are taken as uint32_t, larger less smaller, which is exact.
 *  - base + unit x cell is a correction again: 10^9 at most, and unit x cell half the range of
 *    corrections, 10^9 at most (rounding adds half a unit).
 *  - In plumbeam_between the size of a difference is at most 2 x 10^9, so its upper half is at
 *    most 30517 and the fraction at most 65536: 30517 x 65536 + 65536 < 2^31; the lower half
 *    is at most 65535: 65535 x 65536 + 32768 < 2^32.
 *  - Only unsigned numbers are shifted.
 */

enum {
    PLUMBEAM_OK = 0,
    PLUMBEAM_BELOW = 1,      /* the demand lies below the table */
    PLUMBEAM_ABOVE = 2,      /* the demand lies above the table, toward the keyhole */
    PLUMBEAM_BESIDE = 3,     /* the demand lies outside of the unwrapped azimuths */
    PLUMBEAM_OUT_OF_RANGE = 4 /* no reading lies within the encoders' range */
};

/* rest / step in 65536ths, rounded down; rest <= step < 2^31. */
static inline uint32_t plumbeam_fraction(uint32_t rest, uint32_t step)
{
    uint32_t fraction = 0;
    uint8_t bit;
    if (rest >= step) {
        return UINT32_C(65536);
    }
    for (bit = 0; bit < 16; bit++) {
        rest <<= 1;
        fraction <<= 1;
        if (rest >= step) {
            rest -= step;
            fraction |= UINT32_C(1);
        }
    }
    return fraction;
}

/* From one value toward another by a fraction in 65536ths, rounded to the nearest. */
static inline int32_t plumbeam_between(int32_t from, int32_t to, uint32_t fraction)
{
    uint32_t size = to >= from ? (uint32_t)to - (uint32_t)from : (uint32_t)from - (uint32_t)to;
    uint32_t part = (size >> 16) * fraction
        + (((size & UINT32_C(0xffff)) * fraction + UINT32_C(0x8000)) >> 16);
    return to >= from ? from + (int32_t)part : from - (int32_t)part;
}

/* Microdegrees at a node: which = 0 for the azimuth's correction, 1 for the elevation's. */
static inline int32_t plumbeam_node(uint8_t which, uint16_t row, uint16_t column)
{
    uint16_t scale = PLUMBEAM_SCALES > 1 ? row : 0;
    int32_t base = PLUMBEAM_READ_SCALE(&plumbeam_scales[which][scale][0]);
    int32_t unit = PLUMBEAM_READ_SCALE(&plumbeam_scales[which][scale][1]);
    int32_t cell = PLUMBEAM_READ_CELL(&plumbeam_cells[which][row][column]);
    return base + unit * cell;
}

/* The same heading in 0 to 360 degrees. */
static inline int32_t plumbeam_heading(int32_t azimuth)
{
    int32_t rest = azimuth % PLUMBEAM_TURN;
    return rest < 0 ? rest + PLUMBEAM_TURN : rest;
}

/* What to ADD to a demanded direction to get the encoder reading to command, in microdegrees.
 * Returns PLUMBEAM_OK, or a reason and then writes nothing. */
static inline int plumbeam_correction(int32_t azimuth, int32_t elevation,
                                      int32_t *azimuth_correction, int32_t *elevation_correction)
{
    uint32_t offset, column_fraction, row_fraction;
    uint16_t column, next, row;
    uint8_t which;

    if (elevation < PLUMBEAM_ELEVATION_FIRST) {
        return PLUMBEAM_BELOW;
    }
    if (elevation > PLUMBEAM_ELEVATION_LAST) {
        return PLUMBEAM_ABOVE;
    }
#if PLUMBEAM_ONE_TURN
    azimuth = plumbeam_heading(azimuth);
#endif
    if (azimuth < PLUMBEAM_AZIMUTH_FIRST || azimuth > PLUMBEAM_AZIMUTH_LAST) {
        return PLUMBEAM_BESIDE;
    }

    offset = (uint32_t)azimuth - (uint32_t)PLUMBEAM_AZIMUTH_FIRST;
    column = (uint16_t)(offset / (uint32_t)PLUMBEAM_AZIMUTH_STEP);
    offset -= (uint32_t)column * (uint32_t)PLUMBEAM_AZIMUTH_STEP;
#if !PLUMBEAM_ONE_TURN
    if (column >= PLUMBEAM_COLUMNS - 1) { /* the last node belongs to the cell before it */
        column = PLUMBEAM_COLUMNS - 2;
        offset = (uint32_t)PLUMBEAM_AZIMUTH_STEP;
    }
#endif
    next = (uint16_t)(column + 1);
#if PLUMBEAM_ONE_TURN
    if (next == PLUMBEAM_COLUMNS) {
        next = 0;
    }
#endif
    column_fraction = plumbeam_fraction(offset, (uint32_t)PLUMBEAM_AZIMUTH_STEP);

    offset = (uint32_t)elevation - (uint32_t)PLUMBEAM_ELEVATION_FIRST;
    row = (uint16_t)(offset / (uint32_t)PLUMBEAM_ELEVATION_STEP);
    offset -= (uint32_t)row * (uint32_t)PLUMBEAM_ELEVATION_STEP;
    if (row >= PLUMBEAM_ROWS - 1) {
        row = PLUMBEAM_ROWS - 2;
        offset = (uint32_t)PLUMBEAM_ELEVATION_STEP;
    }
    row_fraction = plumbeam_fraction(offset, (uint32_t)PLUMBEAM_ELEVATION_STEP);

    for (which = 0; which < 2; which++) {
        uint16_t above = (uint16_t)(row + 1);
        int32_t low = plumbeam_between(plumbeam_node(which, row, column),
                                       plumbeam_node(which, row, next), column_fraction);
        int32_t high = plumbeam_between(plumbeam_node(which, above, column),
                                        plumbeam_node(which, above, next), column_fraction);
        *(which == 0 ? azimuth_correction : elevation_correction)
            = plumbeam_between(low, high, row_fraction);
    }
    return PLUMBEAM_OK;
}

/* The encoder reading to command for a demand of any turn: of the readings within the encoders'
 * range the one nearest to the present azimuth reading, of two equally near the smaller.
 * Returns PLUMBEAM_OK, or a reason and then writes nothing. */
static inline int plumbeam_command(int32_t azimuth, int32_t elevation, int32_t present_azimuth,
                                   int32_t *azimuth_reading, int32_t *elevation_reading)
{
    int32_t demand = plumbeam_heading(azimuth);
    uint32_t least = 0;
    uint8_t found = 0;

#if !PLUMBEAM_ONE_TURN
    while (demand - PLUMBEAM_TURN >= PLUMBEAM_AZIMUTH_FIRST) {
        demand -= PLUMBEAM_TURN;
    }
    while (demand < PLUMBEAM_AZIMUTH_FIRST) {
        demand += PLUMBEAM_TURN;
    }
    if (demand > PLUMBEAM_AZIMUTH_LAST) {
        return PLUMBEAM_BESIDE;
    }
#endif
    for (;;) {
        int32_t across = 0, up = 0, turned;
        int status = plumbeam_correction(demand, elevation, &across, &up);
        if (status != PLUMBEAM_OK) {
            return status;
        }
        up += elevation;
        turned = demand + across;
        if (up >= PLUMBEAM_ELEVATION_LOWEST && up <= PLUMBEAM_ELEVATION_HIGHEST) {
#if PLUMBEAM_ONE_TURN
            while (turned - PLUMBEAM_TURN >= PLUMBEAM_AZIMUTH_LOWEST) {
                turned -= PLUMBEAM_TURN;
            }
            while (turned < PLUMBEAM_AZIMUTH_LOWEST) {
                turned += PLUMBEAM_TURN;
            }
#endif
            while (turned >= PLUMBEAM_AZIMUTH_LOWEST && turned <= PLUMBEAM_AZIMUTH_HIGHEST) {
                uint32_t way = turned >= present_azimuth
                    ? (uint32_t)turned - (uint32_t)present_azimuth
                    : (uint32_t)present_azimuth - (uint32_t)turned;
                if (!found || way < least) {
                    found = 1;
                    least = way;
                    *azimuth_reading = turned;
                    *elevation_reading = up;
                }
#if PLUMBEAM_ONE_TURN
                turned += PLUMBEAM_TURN;
#else
                break;
#endif
            }
        }
#if PLUMBEAM_ONE_TURN
        break;
#else
        if (demand > PLUMBEAM_AZIMUTH_LAST - PLUMBEAM_TURN) {
            break;
        }
        demand += PLUMBEAM_TURN;
#endif
    }
    return found ? PLUMBEAM_OK : PLUMBEAM_OUT_OF_RANGE;
}

#ifdef PLUMBEAM_FLOAT
/* ---- The same in floating point -----------------------------------------------------------
 * Define PLUMBEAM_FLOAT to get it, and PLUMBEAM_REAL for another type than float. Degrees in,
 * degrees to ADD out. A float holds an azimuth of a few hundred degrees to 0.00003 degree:
 * add the correction to the demand in whatever holds the demand. */
#ifndef PLUMBEAM_REAL
#define PLUMBEAM_REAL float
#endif

static inline PLUMBEAM_REAL plumbeam_real(int32_t microdegrees)
{
    return (PLUMBEAM_REAL)microdegrees / (PLUMBEAM_REAL)INT32_C(1000000);
}

static inline int plumbeam_correction_real(PLUMBEAM_REAL azimuth, PLUMBEAM_REAL elevation,
                                           PLUMBEAM_REAL *azimuth_correction,
                                           PLUMBEAM_REAL *elevation_correction)
{
    const PLUMBEAM_REAL most = (PLUMBEAM_REAL)INT32_C(36000);
    PLUMBEAM_REAL right, up;
    uint16_t column, next, row;
    uint8_t which;

    /* Not-a-number fails every comparison, so each is put the way that refuses it. */
    if (!(elevation >= plumbeam_real(PLUMBEAM_ELEVATION_FIRST))) {
        return PLUMBEAM_BELOW;
    }
    if (!(elevation <= plumbeam_real(PLUMBEAM_ELEVATION_LAST))) {
        return PLUMBEAM_ABOVE;
    }
    if (!(azimuth > -most && azimuth < most)) {
        return PLUMBEAM_BESIDE;
    }
#if PLUMBEAM_ONE_TURN
    azimuth -= (PLUMBEAM_REAL)((int32_t)(azimuth / (PLUMBEAM_REAL)360)) * (PLUMBEAM_REAL)360;
    if (azimuth < (PLUMBEAM_REAL)0) {
        azimuth += (PLUMBEAM_REAL)360;
    }
#endif
    if (!(azimuth >= plumbeam_real(PLUMBEAM_AZIMUTH_FIRST)
          && azimuth <= plumbeam_real(PLUMBEAM_AZIMUTH_LAST))) {
        return PLUMBEAM_BESIDE;
    }
    right = (azimuth - plumbeam_real(PLUMBEAM_AZIMUTH_FIRST))
        / plumbeam_real(PLUMBEAM_AZIMUTH_STEP);
    column = (uint16_t)right;
#if PLUMBEAM_ONE_TURN
    if (column >= PLUMBEAM_COLUMNS) { /* by rounding, 360 degrees itself */
        column = PLUMBEAM_COLUMNS - 1;
    }
    next = (uint16_t)(column + 1);
    if (next == PLUMBEAM_COLUMNS) {
        next = 0;
    }
#else
    if (column >= PLUMBEAM_COLUMNS - 1) {
        column = PLUMBEAM_COLUMNS - 2;
    }
    next = (uint16_t)(column + 1);
#endif
    right -= (PLUMBEAM_REAL)column;
    up = (elevation - plumbeam_real(PLUMBEAM_ELEVATION_FIRST))
        / plumbeam_real(PLUMBEAM_ELEVATION_STEP);
    row = (uint16_t)up;
    if (row >= PLUMBEAM_ROWS - 1) {
        row = PLUMBEAM_ROWS - 2;
    }
    up -= (PLUMBEAM_REAL)row;
    for (which = 0; which < 2; which++) {
        uint16_t above = (uint16_t)(row + 1);
        PLUMBEAM_REAL a = plumbeam_real(plumbeam_node(which, row, column));
        PLUMBEAM_REAL b = plumbeam_real(plumbeam_node(which, row, next));
        PLUMBEAM_REAL c = plumbeam_real(plumbeam_node(which, above, column));
        PLUMBEAM_REAL d = plumbeam_real(plumbeam_node(which, above, next));
        a += (b - a) * right;
        c += (d - c) * right;
        *(which == 0 ? azimuth_correction : elevation_correction) = a + (c - a) * up;
    }
    return PLUMBEAM_OK;
}
#endif /* PLUMBEAM_FLOAT */

#ifdef PLUMBEAM_SELF_TEST
/* ---- The self-test ------------------------------------------------------------------------
 * Define PLUMBEAM_SELF_TEST to get it. It returns 0 when this machine computes what it should
 * from the table that was written, -1 when the table's checksum is wrong, else the number,
 * from 1, of the first test vector that comes out differently. */
static inline uint32_t plumbeam_crc32(uint32_t crc, uint32_t value, uint8_t bytes)
{
    while (bytes-- > 0) {
        uint8_t bit;
        crc ^= value & UINT32_C(0xff);
        value >>= 8;
        for (bit = 0; bit < 8; bit++) {
            crc = (crc & UINT32_C(1)) != 0 ? (crc >> 1) ^ UINT32_C(0xedb88320) : crc >> 1;
        }
    }
    return crc;
}

static inline int plumbeam_self_test(void)
{
    uint32_t crc = UINT32_C(0xffffffff);
    uint16_t which, row, column;
    int test;
    for (which = 0; which < 2; which++) {
        for (row = 0; row < PLUMBEAM_ROWS; row++) {
            for (column = 0; column < PLUMBEAM_COLUMNS; column++) {
                crc = plumbeam_crc32(
                    crc, (uint32_t)(int32_t)PLUMBEAM_READ_CELL(&plumbeam_cells[which][row][column]),
                    PLUMBEAM_CELL_BITS / 8);
            }
        }
    }
    for (which = 0; which < 2; which++) {
        for (row = 0; row < PLUMBEAM_SCALES; row++) {
            for (column = 0; column < 2; column++) {
                crc = plumbeam_crc32(
                    crc, (uint32_t)(int32_t)PLUMBEAM_READ_SCALE(&plumbeam_scales[which][row][column]),
                    4);
            }
        }
    }
    if ((uint32_t)~crc != PLUMBEAM_CRC32) {
        return -1;
    }
    for (test = 0; test < PLUMBEAM_TESTS; test++) {
        const int32_t *t = plumbeam_tests[test];
        int32_t first = 0, second = 0;
        if (plumbeam_correction(t[0], t[1], &first, &second) != (int)t[3] || first != t[4]
            || second != t[5]) {
            return test + 1;
        }
        first = 0;
        second = 0;
        if (plumbeam_command(t[0], t[1], t[2], &first, &second) != (int)t[6] || first != t[7]
            || second != t[8]) {
            return test + 1;
        }
    }
    return 0;
}
#endif /* PLUMBEAM_SELF_TEST */

#endif /* PLUMBEAM_TABLE_H */
