/* The full chain over columns of poses, as one would write it by hand for the vector unit: the yardstick of the
   benchmark, nothing else. Same frames, same outputs, same polynomials as kinematics/trig.py. Compiled twice, with
   and without vectorisation, so that it proves itself to be SIMD. */
#include <math.h>
#include <stdint.h>

#define BLOCK 256
#define ALIGNED __attribute__((aligned(64)))

typedef struct {
    double post_x, post_y, foot_x, foot_y, boom, fore, stick, receiver[3], mast[3];
    double coupler_x, coupler_z, coupler_s, coupler_c, tilt_p[3], tilt_u[3], rotate_p[3], rotate_u[3];
    double mount_x, mount_z, mount_s, mount_c, ahead_of_heel[4], point[8][3], limit[7][2];
} machine;

static inline void sincos_(double x, double *sine, double *cosine)
{
    const double rounds = 6755399441055744.0;
    double k = (x * 0.6366197723675814 + rounds) - rounds;
    double r = x - k * 1.57079632673412561417e+00;
    double w = k * 6.07710050630396597660e-11, h = r - w;
    double t = ((r - h) - w) - k * 2.02226624879595063154e-21;
    double y = h + t, rest = (h - y) + t, z = y * y, v = z * y;
    double p = 8.33333333332248946124e-03 + z * (-1.98412698298579493134e-04 + z * (2.75573137070700676789e-06
             + z * (-2.50507602534068634195e-08 + z * 1.58969099521155010221e-10)));
    double s = y - ((z * (0.5 * rest - v * p) - rest) + v * 1.66666666666666324348e-01);
    p = 4.16666666666666019037e-02 + z * (-1.38888888888741095749e-03 + z * (2.48015872894767294178e-05
      + z * (-2.75573143513906633035e-07 + z * (2.08757232129817482790e-09 + z * -1.13596475577881948265e-11))));
    double half = 0.5 * z, head = 1.0 - half;
    double c = head + (((1.0 - head) - half) + (z * (z * p) - y * rest));
    double q = k - 4.0 * ((0.25 * k - 0.375 + rounds) - rounds);
    int odd = (q == 1.0) | (q == 3.0);
    double a = odd ? c : s, b = odd ? s : c;
    *sine = q >= 2.0 ? -a : a;
    *cosine = (q == 1.0) | (q == 2.0) ? -b : b;
}

static inline double arctan2_(double y, double x)
{
    double across = fabs(x), up = fabs(y);
    int steep = up > across;
    double far = steep ? up : across, near = steep ? across : up;
    int wide = near > 0.41421356237309503 * far;
    double above = wide ? near - far : near, below = wide ? near + far : far;
    double t = above / (below == 0.0 ? 1.0 : below), z = t * t;
    double p = (((-8.750608600031904122785e-1 * z - 1.615753718733365076637e1) * z - 7.500855792314704667340e1) * z
             - 1.228866684490136173410e2) * z - 6.485021904942025371773e1;
    double q = ((((z + 2.485846490142306297962e1) * z + 1.650270098316988542046e2) * z + 4.328810604912902668951e2) * z
             + 4.853903996359136964868e2) * z + 1.945506571482613964425e2;
    double angle = t * (z * p / q) + t;
    angle = wide ? (angle + 3.061616997868383e-17) + 0.7853981633974483 : angle;
    angle = steep ? (1.5707963267948966 - angle) + 6.123233995736766e-17 : angle;
    angle = x < 0.0 ? (3.141592653589793 - angle) + 1.2246467991473532e-16 : angle;
    return y < 0.0 ? -angle : angle;
}

typedef struct { double a, b, c, d, e, f, g, h, i, x, y, z; } map; /* rows of a rotation, then an origin */
typedef struct { double x, y, z; } vector;

static inline map turned(double s, double c, const double *p, const double *u)
{
    double k = 1.0 - c;
    map m;
    m.a = c + k * u[0] * u[0], m.b = k * u[0] * u[1] - s * u[2], m.c = k * u[0] * u[2] + s * u[1];
    m.d = k * u[1] * u[0] + s * u[2], m.e = c + k * u[1] * u[1], m.f = k * u[1] * u[2] - s * u[0];
    m.g = k * u[2] * u[0] - s * u[1], m.h = k * u[2] * u[1] + s * u[0], m.i = c + k * u[2] * u[2];
    m.x = p[0] - (m.a * p[0] + m.b * p[1] + m.c * p[2]);
    m.y = p[1] - (m.d * p[0] + m.e * p[1] + m.f * p[2]);
    m.z = p[2] - (m.g * p[0] + m.h * p[1] + m.i * p[2]);
    return m;
}

static inline map after(map m, map n)
{
    return (map){
        m.a * n.a + m.b * n.d + m.c * n.g, m.a * n.b + m.b * n.e + m.c * n.h, m.a * n.c + m.b * n.f + m.c * n.i,
        m.d * n.a + m.e * n.d + m.f * n.g, m.d * n.b + m.e * n.e + m.f * n.h, m.d * n.c + m.e * n.f + m.f * n.i,
        m.g * n.a + m.h * n.d + m.i * n.g, m.g * n.b + m.h * n.e + m.i * n.h, m.g * n.c + m.h * n.f + m.i * n.i,
        m.a * n.x + m.b * n.y + m.c * n.z + m.x, m.d * n.x + m.e * n.y + m.f * n.z + m.y,
        m.g * n.x + m.h * n.y + m.i * n.z + m.z};
}

static inline map lift(double s, double c, double x, double z, map n)
{
    return (map){c * n.a - s * n.g, c * n.b - s * n.h, c * n.c - s * n.i, n.d, n.e, n.f,
                 s * n.a + c * n.g, s * n.b + c * n.h, s * n.c + c * n.i,
                 c * n.x - s * n.z + x, n.y, s * n.x + c * n.z + z};
}

static inline map swing(double s, double c, double x, double y, map n)
{
    return (map){c * n.a - s * n.d, c * n.b - s * n.e, c * n.c - s * n.f,
                 s * n.a + c * n.d, s * n.b + c * n.e, s * n.c + c * n.f, n.g, n.h, n.i,
                 c * n.x - s * n.y + x, s * n.x + c * n.y + y, n.z};
}

static inline map stepped(map m, double s, double c, double x, double z)
{
    return (map){m.a * c + m.c * s, m.b, m.c * c - m.a * s, m.d * c + m.f * s, m.e, m.f * c - m.d * s,
                 m.g * c + m.i * s, m.h, m.i * c - m.g * s,
                 m.a * x + m.c * z + m.x, m.d * x + m.f * z + m.y, m.g * x + m.i * z + m.z};
}

static inline vector direction(map m, double x, double y, double z)
{
    return (vector){m.a * x + m.b * y + m.c * z, m.d * x + m.e * y + m.f * z, m.g * x + m.h * y + m.i * z};
}

static inline vector place(map m, const double *p)
{
    vector v = direction(m, p[0], p[1], p[2]);
    return (vector){v.x + m.x, v.y + m.y, v.z + m.z};
}

#define LX(x, y, z) (lx * (x) + lz * (z))
#define LY(x, y, z) (ly * (x) + run * (y) + lw * (z))
#define LZ(x, y, z) (nx * (x) + ny * (y) + nz * (z))
#define POINT(k) \
    vector p##k = place(b, m->point[k]); \
    out[3 * k][i] = p##k.x, out[3 * k + 1][i] = p##k.y, out[3 * k + 2][i] = p##k.z

/* turn[2 j][i], turn[2 j + 1][i]: sine and cosine of pitch, roll, swing, boom, boom + fore, + stick, + bucket, tilt, rotate */
static void turns(double (*restrict q)[BLOCK], double (*restrict turn)[BLOCK])
{
    for (int i = 0; i < BLOCK; i++) {
        q[4][i] += q[3][i];
        q[5][i] += q[4][i];
        q[6][i] += q[5][i];
    }
    for (int j = 0; j < 9; j++)
        for (int i = 0; i < BLOCK; i++)
            sincos_(q[j][i], &turn[2 * j][i], &turn[2 * j + 1][i]);
}

static void chain(const machine *restrict m, double (*restrict q)[BLOCK], double (*restrict t)[BLOCK],
                  double (*restrict out)[BLOCK])
{
    for (int i = 0; i < BLOCK; i++) {
        double nx = t[0][i], ny = t[1][i] * t[2][i], nz = t[1][i] * t[3][i];
        double run = sqrt(nx * nx + nz * nz), lx = nz / run, lz = -nx / run, ly = lz * ny, lw = -lx * ny;
        double ws = t[4][i], wc = t[5][i];
        double fx = m->post_x + wc * m->foot_x - ws * m->foot_y, fy = m->post_y + ws * m->foot_x + wc * m->foot_y;
        double sx = m->boom * t[7][i] + m->fore * t[9][i], sz = m->boom * t[6][i] + m->fore * t[8][i];
        double s = t[10][i], c = t[11][i];
        map stick = {wc * c, -ws, -wc * s, ws * c, wc, -ws * s, s, 0.0, c, wc * sx + fx, ws * sx + fy, sz};
        map a = after(turned(t[14][i], t[15][i], m->tilt_p, m->tilt_u),
                      stepped(turned(t[16][i], t[17][i], m->rotate_p, m->rotate_u), m->mount_s, m->mount_c,
                              m->mount_x, m->mount_z));
        a = lift(m->coupler_s, m->coupler_c, m->coupler_x, m->coupler_z, a);
        a = lift(t[12][i], t[13][i], sx + m->stick * c, sz + m->stick * s, a);
        a = swing(ws, wc, fx, fy, a);
        map b = {LX(a.a, a.d, a.g), LX(a.b, a.e, a.h), LX(a.c, a.f, a.i), LY(a.a, a.d, a.g), LY(a.b, a.e, a.h),
                 LY(a.c, a.f, a.i), LZ(a.a, a.d, a.g), LZ(a.b, a.e, a.h), LZ(a.c, a.f, a.i),
                 LX(a.x, a.y, a.z), LY(a.x, a.y, a.z), LZ(a.x, a.y, a.z)};
        POINT(0); POINT(1); POINT(2); POINT(3); POINT(4); POINT(5); POINT(6); POINT(7);
        vector e = place(stick, m->receiver);
        e = (vector){LX(e.x, e.y, e.z), LY(e.x, e.y, e.z), LZ(e.x, e.y, e.z)};
        out[24][i] = e.x, out[25][i] = e.y, out[26][i] = e.z;
        e = direction(stick, m->mast[0], m->mast[1], m->mast[2]);
        e = (vector){LX(e.x, e.y, e.z), LY(e.x, e.y, e.z), LZ(e.x, e.y, e.z)};
        out[30][i] = arctan2_(sqrt(e.x * e.x + e.y * e.y), e.z);
        double dx = p0.x - p2.x, dy = p0.y - p2.y, across = sqrt(dx * dx + dy * dy);
        double hx = 0.5 * (p6.x + p7.x) - p1.x, hy = 0.5 * (p6.y + p7.y) - p1.y, hz = 0.5 * (p6.z + p7.z) - p1.z;
        out[27][i] = (p2.z - p0.z) / across;
        out[28][i] = arctan2_(hz * across, hx * dy - hy * dx);
        const double *share = m->ahead_of_heel;
        double l = p6.z - (p1.z + share[0] * (p0.z - p1.z) + share[1] * (p2.z - p1.z));
        double r = p7.z - (p1.z + share[2] * (p0.z - p1.z) + share[3] * (p2.z - p1.z));
        out[29][i] = l < r ? l : r;
        e = direction(a, m->point[0][0] - m->point[2][0], m->point[0][1] - m->point[2][1],
                      m->point[0][2] - m->point[2][2]);
        out[31][i] = wc * e.y - ws * e.x;
        double upright = (fabs(q[0][i]) <= 0.7853981633974483) & (fabs(q[1][i]) <= 0.7853981633974483) ? 1.0 : 0.0;
        double level_edge = dx * dx + dy * dy > 1e-12 ? 0.0 : 13.0;
        out[32][i] = upright > 0.0 ? level_edge : 12.0;
    }
}

static void limits(const machine *restrict m, double (*restrict q)[BLOCK], double *restrict beyond)
{
    for (int i = 0; i < BLOCK; i++)
        beyond[i] = 0.0;
    for (int j = 0; j < 7; j++)
        for (int i = 0; i < BLOCK; i++)
            beyond[i] += (q[2 + j][i] >= m->limit[j][0]) & (q[2 + j][i] <= m->limit[j][1]) ? 0.0 : 1.0;
}

/* columns: 9 of n angles (rad); out: 32 of n; status: n. n is a multiple of BLOCK. */
void solve(const machine *m, const double *columns, double *out, uint8_t *status, int64_t n)
{
    static _Thread_local double q[9][BLOCK] ALIGNED, turn[18][BLOCK] ALIGNED, told[33][BLOCK] ALIGNED,
        beyond[BLOCK] ALIGNED;
    for (int64_t start = 0; start < n; start += BLOCK) {
        for (int j = 0; j < 9; j++)
            for (int i = 0; i < BLOCK; i++)
                q[j][i] = columns[j * n + start + i];
        limits(m, q, beyond);
        turns(q, turn);
        chain(m, q, turn, told);
        for (int k = 0; k < 32; k++)
            for (int i = 0; i < BLOCK; i++)
                out[k * n + start + i] = told[k][i];
        for (int i = 0; i < BLOCK; i++)
            status[start + i] = beyond[i] > 0.0 ? 11 : (uint8_t)told[32][i];
    }
}
