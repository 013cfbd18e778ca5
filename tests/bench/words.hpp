#pragma once

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>
#include <string_view>
#include <vector>

namespace idlehark::bench {

/// What was typed behind a bench's name: `--engines 8 --only "fan"`. A word that the bench does not ask for ends it.
class Words {
   public:
    Words(int argc, char** argv) : words_(argv + 1, argv + argc), used_(words_.size(), 0) {}
    ~Words() = default;
    Words(const Words&) = delete;
    Words& operator=(const Words&) = delete;

    bool said(std::string_view name) { return find(name, 1) < words_.size(); }
    std::string text(std::string_view name, std::string usual = {}) {
        const auto at = find(name, 2);
        return at + 1 < words_.size() ? words_[at + 1] : usual;
    }
    double number(std::string_view name, double usual) {
        const auto value = text(name);
        return value.empty() ? usual : std::atof(value.c_str());
    }
    int count(std::string_view name, int usual) { return static_cast<int>(number(name, usual)); }
    std::uint64_t seed(std::string_view name, std::uint64_t usual) {
        const auto value = text(name);
        return value.empty() ? usual : std::strtoull(value.c_str(), nullptr, 10);
    }
    /// When all has been asked for.
    void done() const {
        for (std::size_t i = 0; i < words_.size(); ++i)
            if (!used_[i]) {
                std::fprintf(stderr, "%s is not known here\n", words_[i].c_str());
                std::exit(2);
            }
    }

   private:
    std::size_t find(std::string_view name, std::size_t length) {
        for (std::size_t i = 0; i < words_.size(); ++i)
            if (!used_[i] && words_[i] == name) {
                for (std::size_t k = i; k < i + length && k < words_.size(); ++k) used_[k] = 1;
                return i;
            }
        return words_.size();
    }
    std::vector<std::string> words_;
    std::vector<char> used_;
};

/// What the benches over simulated engines are told.
struct EngineRun {
    int engines;
    double seconds;  ///< of sound each
    std::uint64_t first_seed;
    std::string only;  ///< conditions with this in their name; empty: all
};
inline EngineRun engine_run(int argc, char** argv, EngineRun usual) {
    Words words(argc, argv);
    EngineRun run{words.count("--engines", usual.engines), words.number("--seconds", usual.seconds),
                  words.seed("--first-seed", usual.first_seed), words.text("--only", usual.only)};
    words.done();
    return run;
}

/// Processor time of this thread: the machine may have other work.
inline double own_time_s() {
    timespec t{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

}  // namespace idlehark::bench
