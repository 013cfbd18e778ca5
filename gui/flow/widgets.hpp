#pragma once

#include "gui/flow/flow.hpp"

#include <string>

namespace idlehark::gui {

/// Buttons a gloved finger hits; `loud` is the one thing to do on a page. `width` 0: as wide as its words.
bool button(const PageContext& c, const char* words, float width = 0.0F, bool loud = false, bool enabled = true);
inline bool button(const PageContext& c, const std::string& words, float width = 0.0F, bool loud = false,
                   bool enabled = true) {
    return button(c, words.c_str(), width, loud, enabled);
}
/// What a `loud` one needs for its words.
float loud_width(const PageContext& c, const char* words);
/// One of several: the chosen one is filled, and carries a dot so that it is not told by colour alone.
bool choice(const PageContext& c, const char* words, bool chosen, float width = 0.0F);
void title(const PageContext& c, const char* words);
void paragraph(const char* words);
inline void paragraph(const std::string& words) { paragraph(words.c_str()); }
/// A paragraph behind a bar at its left edge: what must not be overlooked.
void warning(const PageContext& c, const char* words);
/// A label with its control to the right of a common edge.
void label(const PageContext& c, const char* words);
/// A large figure with its unit and what it is, under each other.
void figure(const PageContext& c, const char* what, const std::string& value, const char* unit);
/// Before a field that takes a number: a comma typed there is meant as its point. ImGui would drop it, and make 25 of
/// 2,5.
void comma_as_point(const char* field);
bool whole_number(const char* field, int& value, int step = 1);
/// Stays in the row if so much has room behind the last widget, else begins another; true if it stayed.
bool next_in_row(float width);
/// The keyboard stands on the widget drawn last, and shows it.
void stand_on_last();
/// Closes the list or chooser that is opened over the page; true if there was one.
bool close_popup();
/// The page leads on to this one.
void go_on(const PageContext& c, Stage next, bool enabled = true);

}  // namespace idlehark::gui
