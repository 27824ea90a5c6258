// Text files that every page holds, put into the program when it is built.
#pragma once

#include <string_view>

namespace gearhark::report {

extern const std::string_view page_css, page_js;
extern const std::string_view chart_css, chart_js, chart_licence;  // dygraphs, MIT

}  // namespace gearhark::report
