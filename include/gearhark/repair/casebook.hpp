// The casebook: what was recorded, said, decided, found and compared, case by case, in one SQLite file.
//
// Every change is one transaction with a rollback journal: a killed process or a full disk leaves the book as
// it was before that change. Two processes may write at once: the second waits up to ten seconds. An older
// book is brought up to date when it is opened; a newer or damaged one is left alone and said so.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "gearhark/diagnosis/ranking.hpp"
#include "gearhark/units/result.hpp"

namespace gearhark {

// A recording as it was when it was judged. The sound itself is not copied.
struct KeptRecording {
  std::string file, sha256;
  std::int64_t bytes = 0;
};

// What gearhark printed with --json: kind is "diagnosis", "comparison", "decision", "inspection" or "swap".
struct KeptPaper {
  std::string kind, json;
  std::string program;  // version that filed it
  std::string filed;    // UTC, "2026-11-25T20:31:07Z"
};

// What the teardown showed. part "": nothing wrong was found.
struct Finding {
  std::string part, fault, note, filed;
};

struct Case {
  std::int64_t id = 0;
  std::string key;  // the same in every book that the case is imported into
  std::string title, note, opened;
  std::vector<KeptRecording> recordings;
  std::vector<KeptPaper> papers;
  std::vector<Finding> findings;
};

// Of the cases of which a teardown finding and a diagnosis are kept (the last of each), by what was found.
struct TallyRow {
  std::string found;  // a fault's word, "not said" or "nothing wrong"
  int cases = 0;
  int first = 0;  // the part found was the first suspect, or can't be told from it
  int first_three = 0;
  int missed = 0;  // "no fault heard" though something was found
  int unsure = 0;  // "can't tell"
};

// What the findings say of how often each fault is met. Error: fewer than 20 that name a fault or say that
// nothing was wrong, too few to learn from. `file`: of the casebook, for the sentence.
Result<Experience> experience_of(const std::vector<TallyRow>& tally, const std::string& file);

class Casebook {
 public:
  enum class IfMissing { create, fail };
  // Errors: not a casebook, damaged, newer than this program, can't be written, held by another process.
  static Result<Casebook> open(const std::string& path, IfMissing if_missing);
  ~Casebook();
  Casebook(Casebook&&) noexcept;
  Casebook& operator=(Casebook&&) noexcept;

  // `entry`: id, key and times are given by the book. Returns the case's number.
  Result<std::int64_t> add(const Case& entry);
  // More recordings, papers and findings for a case. Error: no such case.
  Result<std::int64_t> put(std::int64_t id, const Case& more);
  // Cases whose key is new, as they are, with new numbers. Returns how many were new. All or none.
  Result<int> import(const std::vector<Case>& cases);

  [[nodiscard]] Result<Case> one(std::int64_t id) const;
  [[nodiscard]] Result<std::vector<Case>> all() const;
  [[nodiscard]] Result<std::vector<TallyRow>> tally() const;

 private:
  struct Book;
  explicit Casebook(std::unique_ptr<Book> book);
  std::unique_ptr<Book> book_;
};

// The kind of a paper by its "format"; error: not JSON that gearhark wrote.
Result<std::string> kind_of_paper(const std::string& json, const std::string& file);

}  // namespace gearhark
