// Cases for people and for machines, and the casebook's export file.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "gearhark/repair/casebook.hpp"

namespace gearhark {

std::string case_list_text(const std::vector<Case>& cases);
std::string case_text(const Case& c);
std::string tally_text(const std::vector<TallyRow>& rows);

// Whole cases. schema/casebook.json is its schema; read_casebook() reads it back.
std::string casebook_json(const std::vector<Case>& cases);
std::string tally_json(const std::vector<TallyRow>& rows);
// Errors: one sentence that names the file.
Result<std::vector<Case>> read_casebook(std::string_view json, std::string_view file);

}  // namespace gearhark
