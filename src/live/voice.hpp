#pragma once

#include <string>
#include <vector>

namespace idlehark {

enum class PromptStyle { off, beep, spoken };

/// Two short tones, 0.25 s, peak 0.4.
[[nodiscard]] std::vector<float> beep(double sample_rate_hz);

/// A short English sentence, peak 0.5, by Flite's voice kal16; empty text, empty sound. Numbers are read as numbers.
/// Not from two threads at once.
[[nodiscard]] std::vector<float> speak(const std::string& text, double sample_rate_hz);

}  // namespace idlehark
