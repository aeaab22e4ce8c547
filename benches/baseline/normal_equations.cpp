// The yardstick of `cargo bench --bench fit`: both of its problems, on the same invented peaks,
// by normal equations written by hand; Gauss-Newton from zero with a damped step when one
// fails, the inverse of the normal matrix at the end. One thread.
//
//     g++ -O3 -march=native benches/baseline/normal_equations.cpp -o /tmp/baseline
//     /tmp/baseline mount 10000 100        problem, peaks, repetitions: prints the shortest
//
// With -DKEEP the mount problem keeps the sines and cosines of the readings.

#include <time.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <vector>

constexpr int N = 7;
constexpr double NOISE = 1e-4;
const double TRUTH[N] = {0.02, -0.01, 0.005, -0.004, 0.003, 0.002, 0.001};

static double fraction(long i, double step) {
    double x = 0.5 + i * step;
    return x - std::floor(x);
}
static double azimuth(long i) { return 2 * M_PI * fraction(i, 0.754877666246693); }
static double elevation(long i) { return 0.2 + 1.1 * fraction(i, 0.569840290998053); }
static double bell(long i, double a, double b) {
    return NOISE * 2.4 * (fraction(i, a) + fraction(i, b) - 1);
}
static double noise_right(long i) { return bell(i, 0.414213562, 0.732050808); }
static double noise_up(long i) { return bell(i, 0.236067977, 0.645751311); }

// The problem with the shape of a mount's, sines and cosines kept.
struct Shape {
    struct Peak { double sa, ca, se, ce, right, up; };
    struct Fixed { const double* p; };
    static Fixed fixed(const double* p) { return {p}; }

    static inline void modelled(const Peak& k, const double* p, double* v, double* c, double* u) {
        const double right[N] = {k.ce, 0, k.se * k.sa, -k.se * k.ca, 1, -k.se, 0};
        const double up[N] = {0, 1, -k.ca, -k.sa, 0, 0, -k.ce};
        double s = p[0] * k.ce + (p[2] * k.sa - p[3] * k.ca) * k.se + p[4] - p[5] * k.se;
        double r = p[1] - p[2] * k.ca - p[3] * k.sa - p[6] * k.ce;
        for (int i = 0; i < N; i++) {
            u[i] = up[i] - s * right[i];
            c[i] = right[i] + r * right[i] + s * up[i];
        }
        v[0] = s + s * r;
        v[1] = r - 0.5 * s * s;
    }
    static inline void rows(const Fixed& f, const Peak& k, double* r, double* c, double* u) {
        double v[2];
        modelled(k, f.p, v, c, u);
        r[0] = (k.right - v[0]) / NOISE;
        r[1] = (k.up - v[1]) / NOISE;
        for (int i = 0; i < N; i++) {
            c[i] *= -1 / NOISE;
            u[i] *= -1 / NOISE;
        }
    }
    static Peak invented(long i) {
        double a = azimuth(i), e = elevation(i), v[2], c[N], u[N];
        Peak k{sin(a), cos(a), sin(e), cos(e), 0, 0};
        modelled(k, TRUTH, v, c, u);
        k.right = v[0] + noise_right(i);
        k.up = v[1] + noise_up(i);
        return k;
    }
};

struct V { double x, y, z; };
static inline V operator+(V a, V b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
static inline V operator*(V a, double s) { return {a.x * s, a.y * s, a.z * s}; }
static inline double dot(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
static inline V cross(V a, V b) {
    return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}

// The mount problem of docs/mount-model.md: azimuth zero, elevation zero, tilt north, tilt
// east, collimation, axis skew, droop.
struct Mount {
#ifdef KEEP
    struct Peak { double sA, cA, sE, cE; V target; double right_weight, up_weight; };
#else
    struct Peak { double A, E; V target; double right_weight, up_weight; };
#endif
    struct Fixed {
        double sc, cc, ss, cs, a0, e0, droop, sa0, ca0, se0, ce0;
        V east, north, up;       // the tilted frame
        V north_axis, east_axis; // about which the beam turns when a tilt grows
    };
    static Fixed fixed(const double* p) {
        Fixed f;
        f.a0 = p[0], f.e0 = p[1], f.droop = p[6];
        f.sa0 = sin(p[0]), f.ca0 = cos(p[0]), f.se0 = sin(p[1]), f.ce0 = cos(p[1]);
        f.sc = sin(p[4]), f.cc = cos(p[4]), f.ss = sin(p[5]), f.cs = cos(p[5]);
        V w{-p[2], p[3], 0};
        auto sinc = [](double x) { return x < 1e-4 ? 1 - x * x / 6 : sin(x) / x; };
        double t = std::sqrt(dot(w, w)), s = sinc(t), half = sinc(0.5 * t), v = 0.5 * half * half;
        auto rotate = [&](V a) {
            V c = cross(w, a);
            return a + c * s + cross(w, c) * v;
        };
        f.east = rotate({1, 0, 0}), f.north = rotate({0, 1, 0}), f.up = rotate({0, 0, 1});
        auto axis = [&](V r) {
            V along = t > 0 ? w * (dot(w, r) * (1 - s) / (t * t)) : V{0, 0, 0};
            return r * s + along + cross(w, r) * v;
        };
        f.north_axis = axis({-1, 0, 0}), f.east_axis = axis({0, 1, 0});
        return f;
    }
    static inline void angles(const Fixed& f, const Peak& k, double& sa, double& ca, double& s0,
                              double& c0, double& sh, double& ch) {
#ifdef KEEP
        sa = k.sA * f.ca0 + k.cA * f.sa0, ca = k.cA * f.ca0 - k.sA * f.sa0;
        s0 = k.sE * f.ce0 + k.cE * f.se0, c0 = k.cE * f.ce0 - k.sE * f.se0;
        double d = -f.droop * c0, q = d * d;
        double sd = d * (1 + q * (-1. / 6 + q * (1. / 120 + q * (-1. / 5040 + q / 362880))));
        double cd = 1 + q * (-1. / 2 + q * (1. / 24 + q * (-1. / 720 + q / 40320)));
        sh = s0 * cd + c0 * sd, ch = c0 * cd - s0 * sd;
#else
        sincos(k.A + f.a0, &sa, &ca);
        double h0 = k.E + f.e0;
        sincos(h0, &s0, &c0);
        sincos(h0 - f.droop * c0, &sh, &ch);
#endif
    }
    static inline void rows(const Fixed& f, const Peak& k, double* r, double* c, double* u) {
        double sa, ca, s0, c0, sh, ch;
        angles(f, k, sa, ca, s0, c0, sh, ch);
        V raised{f.sc, f.cc * ch, f.cc * sh};
        V skewed{raised.x * f.cs - raised.z * f.ss, raised.y, raised.x * f.ss + raised.z * f.cs};
        V turned{skewed.x * ca + skewed.y * sa, skewed.y * ca - skewed.x * sa, skewed.z};
        V beam = f.east * turned.x + f.north * turned.y + f.up * turned.z;
        double flat = std::sqrt(beam.x * beam.x + beam.y * beam.y);
        double s = beam.x / flat, q = beam.y / flat;
        V right{q, -s, 0}, up{-beam.z * s, -beam.z * q, flat};
        double x = dot(k.target, right), y = dot(k.target, up), ahead = dot(k.target, beam);
        double square = x * x + y * y, stretch;
        if (ahead > 0 && square < 9e-6) {
            stretch = 1 + square * (1. / 6 + square * (3. / 40));
        } else {
            double sine = std::sqrt(square);
            stretch = std::atan2(sine, ahead) / sine;
        }
        r[0] = x * stretch * k.right_weight, r[1] = y * stretch * k.up_weight;
        // Each derivative in the frame in which its step is plain.
        double back_h = 1 + f.droop * s0;
        V north = cross(f.north_axis, beam), east = cross(f.east_axis, beam);
        auto fill = [&](V way, double w, double* o) {
            V t{dot(f.east, way), dot(f.north, way), dot(f.up, way)};
            V a{t.x * ca - t.y * sa, t.x * sa + t.y * ca, t.z};
            V b{a.x * f.cs + a.z * f.ss, a.y, a.z * f.cs - a.x * f.ss};
            double h = b.z * raised.y - b.y * raised.z;
            o[0] = -w * (t.x * turned.y - t.y * turned.x);
            o[1] = -w * h * back_h;
            o[2] = -w * dot(way, north);
            o[3] = -w * dot(way, east);
            o[4] = -w * (b.x * f.cc - f.sc * (b.y * ch + b.z * sh));
            o[5] = -w * (a.z * skewed.x - a.x * skewed.z);
            o[6] = w * h * c0;
        };
        fill(right, k.right_weight, c);
        fill(up, k.up_weight, u);
    }
    static Peak invented(long i) {
        double A = azimuth(i), E = elevation(i);
        Fixed f = fixed(TRUTH);
#ifdef KEEP
        Peak k{sin(A), cos(A), sin(E), cos(E), {0, 0, 0}, 1 / NOISE, 1 / NOISE};
#else
        Peak k{A, E, {0, 0, 0}, 1 / NOISE, 1 / NOISE};
#endif
        double sa, ca, s0, c0, sh, ch;
        angles(f, k, sa, ca, s0, c0, sh, ch);
        V raised{f.sc, f.cc * ch, f.cc * sh};
        V skewed{raised.x * f.cs - raised.z * f.ss, raised.y, raised.x * f.ss + raised.z * f.cs};
        V turned{skewed.x * ca + skewed.y * sa, skewed.y * ca - skewed.x * sa, skewed.z};
        V beam = f.east * turned.x + f.north * turned.y + f.up * turned.z;
        double flat = std::sqrt(beam.x * beam.x + beam.y * beam.y);
        double s = beam.x / flat, q = beam.y / flat;
        V right{q, -s, 0}, up{-beam.z * s, -beam.z * q, flat};
        V target = beam + right * noise_right(i) + up * noise_up(i);
        k.target = target * (1 / std::sqrt(dot(target, target)));
        return k;
    }
};

struct Normal { double a[N][N], g[N], squares; };

template <class P>
static Normal pass(const std::vector<typename P::Peak>& peaks, const double* p) {
    Normal n{};
    auto f = P::fixed(p);
    for (const auto& peak : peaks) {
        double r[2], c[N], u[N];
        P::rows(f, peak, r, c, u);
        n.squares += r[0] * r[0] + r[1] * r[1];
        for (int i = 0; i < N; i++) {
            n.g[i] += c[i] * r[0] + u[i] * r[1];
            for (int j = 0; j <= i; j++) n.a[i][j] += c[i] * c[j] + u[i] * u[j];
        }
    }
    return n;
}

static bool factor(const Normal& n, double damping, double l[N][N]) {
    for (int i = 0; i < N; i++)
        for (int j = 0; j <= i; j++) {
            double s = i == j ? n.a[i][i] * (1 + damping) : n.a[i][j];
            for (int k = 0; k < j; k++) s -= l[i][k] * l[j][k];
            if (i == j && s <= 0) return false;
            l[i][j] = i == j ? std::sqrt(s) : s / l[j][j];
        }
    return true;
}

// The step; returns what it is expected to gain.
static double solve(const double l[N][N], const double* g, double* step) {
    double y[N], gain = 0;
    for (int i = 0; i < N; i++) {
        double s = -g[i];
        for (int k = 0; k < i; k++) s -= l[i][k] * y[k];
        y[i] = s / l[i][i];
        gain += y[i] * y[i];
    }
    for (int i = N - 1; i >= 0; i--) {
        double s = y[i];
        for (int k = i + 1; k < N; k++) s -= l[k][i] * step[k];
        step[i] = s / l[i][i];
    }
    return gain;
}

static void invert(const double l[N][N], double covariance[N][N]) {
    double m[N][N] = {};
    for (int j = 0; j < N; j++) {
        m[j][j] = 1 / l[j][j];
        for (int i = j + 1; i < N; i++) {
            double s = 0;
            for (int k = j; k < i; k++) s += l[i][k] * m[k][j];
            m[i][j] = -s / l[i][i];
        }
    }
    for (int i = 0; i < N; i++)
        for (int j = 0; j < N; j++) {
            double s = 0;
            for (int k = std::max(i, j); k < N; k++) s += m[k][i] * m[k][j];
            covariance[i][j] = s;
        }
}

template <class P>
static int fit(const std::vector<typename P::Peak>& peaks, double* p, double covariance[N][N]) {
    double l[N][N], damping = 0;
    Normal here = pass<P>(peaks, p);
    int passes = 1;
    for (int round = 0; round < 50; round++) {
        double step[N], trial[N];
        if (!factor(here, damping, l)) {
            damping = std::max(10 * damping, 1e-6);
            continue;
        }
        double gain = solve(l, here.g, step);
        for (int i = 0; i < N; i++) trial[i] = p[i] + step[i];
        Normal there = pass<P>(peaks, trial);
        passes++;
        if (there.squares > here.squares * (1 + 1e-12)) {
            damping = std::max(10 * damping, 1e-6);
            continue;
        }
        double fall = std::fabs(1 - there.squares / here.squares);
        bool settled = fall < 1e-11 && gain / here.squares < 1e-11;
        std::copy(trial, trial + N, p);
        here = there;
        damping = damping > 1e-9 ? damping / 10 : 0;
        if (settled) break;
    }
    if (factor(here, 0, l)) invert(l, covariance);
    return passes;
}

static double seconds() {
    timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return t.tv_sec + 1e-9 * t.tv_nsec;
}

template <class P>
static void run(long count, int repetitions) {
    std::vector<typename P::Peak> peaks;
    for (long i = 0; i < count; i++) peaks.push_back(P::invented(i));
    double least = INFINITY, p[N], covariance[N][N];
    int passes = 0;
    for (int i = 0; i < repetitions; i++) {
        std::fill(p, p + N, 0.0);
        double begun = seconds();
        passes = fit<P>(peaks, p, covariance);
        least = std::min(least, seconds() - begun);
    }
    printf("%ld peaks: %.2f us of processor time, %d passes; first term %.15f +- %.3e\n", count,
           least * 1e6, passes, p[0], std::sqrt(covariance[0][0]));
}

int main(int count, char** arguments) {
    if (count != 4) return fprintf(stderr, "mount or shape, peaks, repetitions\n"), 2;
    auto chosen = strcmp(arguments[1], "mount") ? run<Shape> : run<Mount>;
    chosen(atol(arguments[2]), atoi(arguments[3]));
}
