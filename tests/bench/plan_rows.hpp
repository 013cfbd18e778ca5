#pragma once

#include "tests/bench/rows.hpp"

#include <array>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace idlehark::bench {

inline constexpr double kMatters_rpm = 15.0;

/// What one visit to a simulated bay came to.
struct VisitRow {
    std::string kind, way;
    int spots = 0;
    std::uint64_t seed = 0;
    int bursts = 0;
    double sprayed_s = 0.0, minutes = 0.0, cpu_s = 0.0;
    int none = 0, undecided = 0;               ///< spots; an answer put down to a neighbour's spray is undecided here
    int false_leaks = 0;                       ///< tight spots called a leak
    int none_by = 0;                           ///< bursts after which every spot was first "none"; 0: never
    std::vector<std::pair<double, char>> own;  ///< of each leak: its change, and 'l'eak, 'n'one or 'u'ndecided

    [[nodiscard]] std::tuple<std::string, int, std::string, std::uint64_t> key() const {
        return {kind, spots, way, seed};
    }
    [[nodiscard]] std::string text() const {
        std::ostringstream out;
        out << kind << ' ' << spots << ' ' << way << ' ' << seed << ' ' << bursts << ' ' << sprayed_s << ' ' << minutes
            << ' ' << cpu_s << ' ' << none << ' ' << undecided << ' ' << false_leaks << ' ' << none_by;
        for (const auto& [rpm, word] : own) out << ' ' << rpm << ' ' << word;
        return out.str();
    }
    static bool read(const std::string& line, VisitRow& row) {
        std::istringstream in(line);
        in >> row.kind >> row.spots >> row.way >> row.seed >> row.bursts >> row.sprayed_s >> row.minutes >> row.cpu_s >>
            row.none >> row.undecided >> row.false_leaks >> row.none_by;
        if (!in) return false;
        double rpm = 0.0;
        for (char word = 0; in >> rpm >> word;) row.own.emplace_back(rpm, word);
        return true;
    }
};

/// All visits so far, kept in a file if one is named, so that a long run can be broken off and gone on with.
class VisitRows {
   public:
    explicit VisitRows(std::string path) : path_(std::move(path)) {
        if (path_.empty()) return;
        std::ifstream in(path_);
        for (std::string line; std::getline(in, line);)
            if (VisitRow row; VisitRow::read(line, row)) rows_[row.key()] = row;
    }
    [[nodiscard]] bool has(const VisitRow& like) const { return rows_.contains(like.key()); }
    void add(const VisitRow& row) {
        rows_[row.key()] = row;
        if (!path_.empty()) std::ofstream(path_, std::ios::app) << row.text() << '\n';
        std::fprintf(stderr, "%s\n", row.text().c_str());
    }

    /// One line for each kind, number of spots and way.
    void print() const {
        std::map<std::tuple<std::string, int, std::string>, std::vector<VisitRow>> groups;
        for (const auto& [key, row] : rows_) groups[{row.kind, row.spots, row.way}].push_back(row);
        for (const auto& [name, rows] : groups)
            print_group(std::get<0>(name), std::get<1>(name), std::get<2>(name), rows);
    }

   private:
    static void print_group(const std::string& kind, int spots, const std::string& way,
                            const std::vector<VisitRow>& rows) {
        std::map<int, std::array<int, 2>> by_size;
        double bursts = 0.0, sprayed_s = 0.0, minutes = 0.0, cpu_s = 0.0, tight_bursts = 0.0, proven_by = 0.0;
        int none = 0, none_wrong = 0, undecided = 0, false_visits = 0, right = 0, tight = 0, proven = 0;
        for (const auto& r : rows) {
            bursts += r.bursts;
            sprayed_s += r.sprayed_s;
            minutes += r.minutes;
            cpu_s += r.cpu_s;
            none += r.none;
            undecided += r.undecided;
            false_visits += r.false_leaks > 0;
            right += r.none;
            for (const auto& [rpm, word] : r.own) {
                auto& [found, of] = by_size[static_cast<int>(std::lround(std::abs(rpm)))];
                found += word == 'l';
                ++of;
                right += word == 'l';
                const bool missed = word == 'n' && std::abs(rpm) >= kMatters_rpm;
                none_wrong += missed;
                right -= missed;
            }
            if (!r.own.empty()) continue;
            ++tight;
            tight_bursts += r.bursts;
            if (r.none_by > 0) {
                ++proven;
                proven_by += r.none_by;
            }
        }
        const auto n = static_cast<double>(rows.size());
        const double share = 100.0 * bursts / n / (3.0 * spots);
        std::printf("%-9s %2d %-11s %3zu visits  bursts %5.1f (%3.0f %%)  spray %4.0f s  %4.1f min ", kind.c_str(),
                    spots, way.c_str(), rows.size(), bursts / n, share, sprayed_s / n, minutes / n);
        for (const auto& [size, count] : by_size) std::printf(" %2d rpm %d/%d", size, count[0], count[1]);
        std::printf("  false %d  none wrong %d/%d  right %.1f %%  undecided %.1f %%", false_visits, none_wrong, none,
                    100.0 * right / (n * spots), 100.0 * undecided / (n * spots));
        if (tight > 0)
            std::printf("  %d tight bays: %.1f bursts, none proven in %d after %.1f", tight, tight_bursts / tight,
                        proven, proven_by / std::max(1, proven));
        std::printf("  cpu %.1f s\n", cpu_s / n);
        const auto name = kind + ", " + std::to_string(spots) + " spots, " + way;
        keep_row("plan", name,
                 {{"visits", n},
                  {"bursts", bursts / n},
                  {"bursts_of_three_everywhere_percent", share},
                  {"minutes", minutes / n},
                  {"with_a_false_leak", static_cast<double>(false_visits)},
                  {"none", static_cast<double>(none)},
                  {"none_wrong", static_cast<double>(none_wrong)},
                  {"undecided_percent", 100.0 * undecided / (n * spots)}});
        for (const auto& [size, count] : by_size)
            keep_row("plan", name + ", leaks of " + std::to_string(size) + " rpm",
                     {{"found", static_cast<double>(count[0])}, {"of", static_cast<double>(count[1])}});
    }

    std::string path_;
    std::map<std::tuple<std::string, int, std::string, std::uint64_t>, VisitRow> rows_;
};

}  // namespace idlehark::bench
