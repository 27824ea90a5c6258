// What lies on the bench: one car, its recordings before and after a repair, and the results so far. All of
// it in memory and in a private folder, gone when the server ends. Safe to use from several threads.
#pragma once

#include <condition_variable>
#include <cstdint>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <semaphore>
#include <string>
#include <thread>
#include <vector>

#include "answer.hpp"
#include "bench_run.hpp"
#include "bundle_runs.hpp"
#include "child.hpp"
#include "gearhark/workbench/workbench.hpp"
#include "private_folder.hpp"
#include "upload.hpp"

namespace gearhark::workbench {

class Bench {
 public:
  explicit Bench(const WorkbenchSettings& settings);
  ~Bench();

  // All that the page shows, without the car's text.
  Json job();

  // Takes the car's text and asks for its lines. {"problem", "orders", "structure"}
  Answer put_car(const std::string& text, const std::string& speed, const std::string& gear);
  Answer car();

  // A name in the folder for a recording to come; status 413 or 507 where there is no room.
  std::optional<Answer> no_room(std::int64_t announced);
  std::unique_ptr<Upload> upload();
  Answer add_run(Upload& upload, const std::string& name, const std::string& set, const std::string& sent_by);
  // A phone's bundle: one entry until the child has taken it apart, then one for each of its runs.
  Answer add_bundle(Upload& upload, const std::string& name, const std::string& set,
                    const std::string& sent_by);
  Answer change_run(const std::string& id, const Json& changes);
  Answer remove_run(const std::string& id);
  // A speed log for a recording; the program that reads the road test judges what is in it.
  Answer add_log(const std::string& id, const std::string& name, const std::string& text);
  // Everything away, for the next car.
  Answer clear();
  Json sent_by(const std::string& phone);

  // Starts "diagnose", "compare", "confirm", "listen" or "plan"; one that runs is stopped first.
  Answer start(const std::string& kind, const Json& wishes);
  Answer stop(const std::string& kind);

  // Files to be handed out; nothing where there is none (yet).
  struct Kept {
    std::filesystem::path file;
    std::string type;
  };
  std::optional<Kept> run_sound(const std::string& id);
  std::optional<std::string> run_check(const std::string& id);
  std::optional<Kept> result(const std::string& kind, const std::string& form);  // "json", "html", "wav"

  Answer cases();
  Answer keep_case(const std::string& title, const std::string& note);
  Answer record_found(std::int64_t id, const std::string& part, const std::string& fault,
                      const std::string& note);

 private:
  struct Work {
    int number = 0;
    std::string state = "none";  // none, running, done, failed, stopped
    std::string stage, sentence;
    bool has_result = false;
    std::uint64_t revision = 0;  // of the inputs it was made from
    std::filesystem::path folder;
    Json wishes;
    std::chrono::steady_clock::time_point started, ended;
    std::jthread thread;
  };
  struct Order;  // what a piece of work needs
  // What becomes of a bundle.
  struct Opened {
    std::vector<BundleRun> runs;
    std::string car;                    // text of the car file that it carried
    std::string trouble;                // why it can't be used; "": it can
    std::vector<std::string> left_out;  // what of it is not used, a sentence each
  };

  BenchRun* run(const std::string& id);
  void check(const std::vector<std::string>& ids, const std::filesystem::path& file,
             const std::stop_token& stop);
  void open_bundle(const std::string& id, const std::filesystem::path& folder, const std::stop_token& stop);
  Opened taken_apart(const std::filesystem::path& folder, const std::string& name,
                     const std::stop_token& stop);
  std::vector<std::string> lay_down(const BenchRun& bundle, const Opened& opened,
                                    const std::filesystem::path& folder);
  std::vector<std::jthread> ending_threads();
  std::optional<Answer> lay_out(const std::string& kind, const Json& wishes, Work& work,
                                std::vector<std::string>& words);
  std::optional<Answer> write_road_test(const std::string& set, const std::string& name, const Work& work);
  void carry_out(const std::string& kind, int number, const std::filesystem::path& folder,
                 const std::vector<std::string>& words, const std::stop_token& stop);
  ChildOutcome with_a_turn(const std::vector<std::string>& words, const std::filesystem::path& folder,
                           const std::stop_token& stop,
                           const std::function<void(const std::string&)>& on_line = {});
  std::vector<std::string> case_words(std::vector<std::string> words) const;
  std::uint64_t revision_of(const std::string& kind);

  const WorkbenchSettings settings_;
  ChildLimits limits_;
  PrivateFolder folder_;
  std::mutex mutex_;
  std::counting_semaphore<> turns_{2};  // children at once, besides the quick one that reads the car
  std::mutex car_turn_;
  std::string car_text_, car_problem_;
  Json orders_, structure_;
  std::vector<std::unique_ptr<BenchRun>> runs_;
  std::map<std::string, Work> works_;
  std::uint64_t car_revision_ = 1;
  std::map<std::string, std::uint64_t> run_revisions_;  // by set
  int works_begun_ = 0;
  std::string kept_as_, car_from_;  // the bundle that brought the car
  std::vector<std::jthread> openers_;
};

}  // namespace gearhark::workbench
